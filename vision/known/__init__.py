"""Stills whose balls are known: to teach a set, or to settle the scale of a calibration.

In: a still with what is known of its balls. Out: a `Taught` set, or frozen balls for the solve.
Stands on `vision.read`; writes no file.
"""
