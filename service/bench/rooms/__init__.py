"""Calibrations of a folder of empty stills against their truth.

In: empty stills with `truth.json`. Out: bed errors against stated budgets. Writes no
file, and nothing is tuned here.
"""
