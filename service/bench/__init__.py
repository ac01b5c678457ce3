"""Figures against truth: what a reading, a calibration and a verdict are worth, and what they cost.

In: stills of known truth. Out: figures, printed or as JSON. Nothing of the product imports it but
the command line.
"""
