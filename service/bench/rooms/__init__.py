"""Calibrations of a folder of empty stills against their truth.

In: empty stills with `truth.json`. Out: bed errors against stated budgets.
"""
