"""Lone far too bright samples taken out of a rendered picture before anything smears them."""

from __future__ import annotations

import cv2
import numpy as np

from .lens_warp import FloatPicture

RATIO = 2.2
"""A pixel is lone when its neighbours' third brightest stays below 1/RATIO of it."""


def without_fireflies(picture: FloatPicture) -> FloatPicture:
    """The picture (H, W, 3) with lone bright pixels replaced by their neighbours' median.

    A highlight survives: it has bright neighbours.
    """
    grey = np.ascontiguousarray(picture @ np.array([0.3, 0.5, 0.2], np.float32))
    bright = np.maximum(grey, 1e-4)
    floor = float(np.median(bright))
    suspect = bright > RATIO * np.maximum(cv2.medianBlur(bright, 3), 0.15 * floor)
    rows, columns = np.nonzero(suspect)
    inside = (rows > 0) & (columns > 0) & (rows < grey.shape[0] - 1) & (columns < grey.shape[1] - 1)
    rows, columns = rows[inside], columns[inside]
    if not len(rows):
        return picture
    around = np.stack(
        [grey[rows + dr, columns + dc] for dr in (-1, 0, 1) for dc in (-1, 0, 1) if dr or dc], 1
    )
    third = np.sort(around, axis=1)[:, -3]
    lone = grey[rows, columns] > RATIO * np.maximum(third, 0.15 * floor)
    rows, columns = rows[lone], columns[lone]
    out = picture.copy()
    patch = np.stack(
        [picture[rows + dr, columns + dc] for dr in (-1, 0, 1) for dc in (-1, 0, 1) if dr or dc], 1
    )
    out[rows, columns] = np.median(patch, axis=1)
    return out
