"""When a shot has begun and when all is still and clear again; which picture to read then.

In: frames of a source, in order. Out: `Settled`, one for every time the table lies differently
from before: the layout, its picture, and how the cue ball came. Every frame is compared in the
small view that readings search; only a table at rest is read, by `vision.read`.
"""
