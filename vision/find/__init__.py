"""Where balls and things may be: the top view and what the finder sees in it.

In: a decoded still and its calibration. Out: candidates in table mm and things over the bed,
without names. Runs the finder network; nothing is refined or decided here.
"""
