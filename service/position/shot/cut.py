"""Ghost ball, cut, side and fullness of a shot."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM
from service.position.geometry import cross, dot, length, unit

STRAIGHT_BELOW_DEG = 1.0
"""Cuts below this are called straight."""


def ghost_ball_mm(object_mm: ArrayLike, aim_mm: ArrayLike) -> FloatArray:
    """Where the cue ball's centre is at contact: O − D·u, u from the ball to the aim point.

    Shapes (..., 2) broadcast; mm in the table frame.
    """
    object_ball = np.asarray(object_mm, dtype=np.float64)
    return np.asarray(
        object_ball - BALL_DIAMETER_MM * unit(np.asarray(aim_mm, dtype=np.float64) - object_ball)
    )


def cut_deg(cue_mm: ArrayLike, object_mm: ArrayLike, aim_mm: ArrayLike) -> FloatArray:
    """Unsigned angle between ghost − cue and u, 0 … 180°; 90° and more cannot be played.

    A cue ball exactly on the ghost ball counts as straight (0°).
    """
    object_ball = np.asarray(object_mm, dtype=np.float64)
    u = unit(np.asarray(aim_mm, dtype=np.float64) - object_ball)
    way = object_ball - BALL_DIAMETER_MM * u - np.asarray(cue_mm, dtype=np.float64)
    return np.degrees(np.abs(np.arctan2(cross(way, u), dot(way, u))))


def side_of_line_mm(cue_mm: ArrayLike, object_mm: ArrayLike, aim_mm: ArrayLike) -> FloatArray:
    """cross(u, cue − next): the cue ball's distance left (+) of the line next ball → pocket."""
    object_ball = np.asarray(object_mm, dtype=np.float64)
    u = unit(np.asarray(aim_mm, dtype=np.float64) - object_ball)
    return cross(u, np.asarray(cue_mm, dtype=np.float64) - object_ball)


def side(cue_mm: ArrayLike, object_mm: ArrayLike, aim_mm: ArrayLike) -> str:
    """``straight`` below 1° of cut, else ``left`` or ``right`` of the line, for one place."""
    if float(cut_deg(cue_mm, object_mm, aim_mm)) < STRAIGHT_BELOW_DEG:
        return "straight"
    return "left" if float(side_of_line_mm(cue_mm, object_mm, aim_mm)) > 0 else "right"


def fullness(cut: float) -> float:
    """Share of the object ball that is covered, 1 − sin(cut): 1 full, ½ at 30°, 0 at 90°."""
    return 1.0 - math.sin(math.radians(min(max(cut, 0.0), 90.0)))


def distance_mm(cue_mm: ArrayLike, object_mm: ArrayLike, aim_mm: ArrayLike) -> FloatArray:
    """From the cue ball to the ghost ball, centre to centre."""
    return length(ghost_ball_mm(object_mm, aim_mm) - np.asarray(cue_mm, dtype=np.float64))
