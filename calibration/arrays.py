"""Kinds of arrays that signatures name, and what makes a covariance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_ROUNDING = 1e-6
"""Of a correlation: what figures written with a few digits lose."""


def is_covariance(matrix: FloatArray) -> bool:
    """Whether a square matrix is symmetric and has no negative variance in any direction."""
    if not matrix.size:
        return True
    spread = np.sqrt(np.abs(np.diag(matrix)))
    scale = np.where(spread > 0, spread, 1.0)
    with np.errstate(all="ignore"):
        scaled = matrix / np.outer(scale, scale)
    if np.any(np.diag(matrix) < 0) or not np.isfinite(scaled).all():
        return False
    if np.abs(scaled - scaled.T).max() > _ROUNDING:
        return False
    return bool(np.linalg.eigvalsh((scaled + scaled.T) / 2).min() >= -_ROUNDING * len(matrix))
