"""From a bare still to landmarks: where the cloth is, then landmark by landmark, closer each time.

In: a decoded still and the table to look for. Out: `Landmarks` worth solving. Uses `seen` and
`solve`; keeps nothing.
"""
