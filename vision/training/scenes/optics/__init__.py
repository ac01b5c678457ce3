"""From light to a still: renderer, recorded lens, sensor and JPEG.

In: parts of a scene and a camera. Out: a picture. `render` alone imports mitsuba.
"""
