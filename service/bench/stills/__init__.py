"""Readings of a folder of stills against their truth, and their time.

In: stills with `truth.json`. Out: figures by still and together. Writes no file.
"""
