"""Paper and pictures: our own drawings and words as PDF pages true to scale, and as PNG.

In: SVG as `drawing` makes it, kept layouts, lessons. Out: bytes of PDF or PNG, the same for the
same input. Draws no table itself and writes no file.
"""
