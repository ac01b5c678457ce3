"""The lens by itself: a printed board and stills of it to focal length and distortion.

In: what is printed on the board, and decoded stills of it. Out: `Lens` with its error, and
the sheet to print. Touches neither the table nor the disk beyond the files it is told.
"""
