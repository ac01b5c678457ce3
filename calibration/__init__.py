"""Pixels to table millimetres: camera, lens, pose, table model and their errors.

Coordinates are fixed on one page, "Coordinates" in DEVELOPERS.md. Imports neither
``vision`` nor ``service``.
"""
