"""What lies over the bed: the still against the empty table of the calibration.

In: a still's view, the calibration's empty picture, the balls found, what the finder frames. Out:
what refuses the still, as notices, and where a ball could lie unseen, as polygons. Changes neither
picture.
"""
