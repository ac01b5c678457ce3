"""Known moves of camera and table, and how well they are noticed.

In: stills with `truth.json`. Out: what was told, corrected, refused. Writes no file.
"""
