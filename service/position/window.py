"""The pocket's window as a ball sees it from its approach angle."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from calibration.table import BALL_DIAMETER_MM, Pocket

from .geometry import FloatArray, cross, dot, length


def approach_deg(object_mm: ArrayLike, pocket: Pocket) -> FloatArray:
    """Angle between the ball's way to the aim point and the mouth's perpendicular, (...)."""
    way = np.asarray(pocket.aim_mm) - np.asarray(object_mm, dtype=np.float64)
    inward = np.asarray(pocket.inward)
    return np.degrees(np.abs(np.arctan2(cross(way, inward), dot(way, inward))))


def window_mm(object_mm: ArrayLike, pocket: Pocket) -> FloatArray:
    """Width W·cos α − D left for the ball's centre; 0 where the pocket cannot be entered.

    Clean entry between the nose points; a ball that rattles in off a facing is not counted.
    """
    alpha = np.radians(approach_deg(object_mm, pocket))
    return np.maximum(pocket.mouth_mm * np.cos(alpha) - BALL_DIAMETER_MM, 0.0)


def margin_deg(object_mm: ArrayLike, pocket: Pocket) -> FloatArray:
    """Allowed error of the object ball's direction to either side, atan(w / 2d)."""
    reach = length(np.asarray(pocket.aim_mm) - np.asarray(object_mm, dtype=np.float64))
    return np.degrees(np.arctan2(window_mm(object_mm, pocket), 2 * reach))
