"""The part of a difference between two views that is light: what changes smoothly over the bed."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
LIGHT_MM = 80.0
"""Sigma of the smoothing that separates light from things."""
FAR, LIGHT, NOISES = 1.5, 0.03, 4.0
"""Logarithms by which a sample may differ from all, and from what is around it, as light; or so
many times what is common."""


def smooth_light(seen: Grey, free: Grey, step_mm: float) -> Grey:
    """Smooth planes (3, rows, columns) through samples so far apart, of the same shape.

    Left out are those that are not free, and those that lie off what is around: things.
    """
    full = free > 0
    if not full.any():
        return np.zeros_like(seen)
    sigma = LIGHT_MM / step_mm
    middle = np.median(seen[:, full], axis=1)[:, None, None]
    weight = free * (np.abs(seen - middle).max(axis=0) < FAR)
    off = np.abs(seen - _smooth(seen, weight, sigma)).max(axis=0)
    weight = free * (off < max(NOISES * float(np.median(off[full])), LIGHT))
    return _smooth(seen, weight, sigma)


def _smooth(planes: Grey, weight: Grey, sigma: float) -> Grey:
    """Gaussian mean of planes (3, rows, columns) by their weights."""
    stack = np.dstack([*(planes * weight), weight]).astype(np.float32)
    sums = cv2.GaussianBlur(stack, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT)
    return np.stack([sums[..., k] / np.maximum(sums[..., 3], 1e-3) for k in range(3)])
