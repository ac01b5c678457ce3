"""Layouts of one moment by several calibrated cameras over one table to one layout.

In: ``View``s, each a camera's name, its layout and its calibration. Out: a `Layout` whose balls are
placed and named by all that see them, hidden only where no camera sees, and which says of each
camera how it agrees. Nothing here looks at a picture: pictures are read by ``vision.read``.
"""
