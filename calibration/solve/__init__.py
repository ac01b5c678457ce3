"""Landmarks to a camera: one robust solve, what it leaves open, and whether to believe it.

In: landmarks, and what is known beside the still. Out: camera, table, residuals and budget, or a
refusal with its code. Looks at no picture.
"""
