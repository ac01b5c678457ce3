"""What lies over the bed: the still against the empty table of the calibration.

In: a still, the calibration's empty picture, the balls found. Out: what covers the bed and
whether that refuses the still, as notices. Changes neither picture.
"""
