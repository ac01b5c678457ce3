"""The wording of results: one function a fact, for page, report, console and drawings alike.

In: values of `position` and `practice`, and what a calibration says of itself. Out: short texts,
lengths among them in the unit that the reader asked for. Sentences are made here last: nothing
branches on them, and JSON keeps its millimetres. Touches no file, store or drawing.
"""
