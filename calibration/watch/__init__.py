"""Has camera or table moved since? A later still against the rails as the empty table showed them.

In: a calibration and a decoded still. Out: the calibration that holds for that still, or a
refusal. Changes no file.
"""
