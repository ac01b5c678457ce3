"""A table watched by a camera, a folder that fills or a video: every rest arrives by itself.

In: the name of a source. Out: live stills handed to the desk in their order, and the watch's state.
Each watch has a thread of its own; whatever becomes of its source, it goes on or says why not.
"""
