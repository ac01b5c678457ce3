"""Where pictures come from: cameras, video files, folders that fill.

In: what a person names. Out: frames with their time, in order, behind one protocol. Pictures are
handed on as they are: nothing is compared or read here.
"""
