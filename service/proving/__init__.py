"""The user's own proof of accuracy: balls as gauges, measured error against the stated one.

In: stills of one table and its calibration. Out: a `Proof` (figures, regions of the bed, what was
left out, names that changed) and a page of it. Balls that touch lie a diameter apart, a tight rack
is a lattice of that, frozen balls lie at the nose, and a layout left alone stays where it is.
"""
