"""Can the player get at the cue ball: by hand, with a mechanical bridge, over a ball."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from calibration.table import BALL_RADIUS_MM, Table

from .geometry import BoolArray, FloatArray, cross, dot, left_of, unit
from .player import Player

OUTWARD = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])
"""Directions out of the bed across the head, foot, right and left nose line."""


def rail_distances_mm(cue_mm: ArrayLike, table: Table) -> FloatArray:
    """Distances from places (..., 2) to the four nose lines, (..., 4) in ``OUTWARD``'s order."""
    cue = np.asarray(cue_mm, dtype=np.float64)
    x, y = cue[..., 0], cue[..., 1]
    return np.stack([x, table.length_mm - x, y, table.width_mm - y], axis=-1)


def stretch_mm(back: ArrayLike, player: Player, *, bridge: bool) -> FloatArray:
    """How far the player reaches across each nose line's direction, (..., 4).

    ``back`` (..., 2): unit vectors from the cue ball backwards along the cue. The player stands
    somewhere behind the cue ball between straight back and square to the cue; what he spans is
    two quarter ellipses, and the figure is that shape's extent towards each nose line.
    """
    direction = np.asarray(back, dtype=np.float64)
    kind = "bridge" if bridge else "hand"
    back_mm = getattr(player, f"{kind}_back_mm")
    body_mm = getattr(player, f"{kind}_body_side_mm")
    off_mm = getattr(player, f"{kind}_off_side_mm")
    # the body of a right-hander is left of the shot, so right of the backward direction
    body = -left_of(direction) if player.handedness == "right" else left_of(direction)
    behind = np.maximum(direction @ OUTWARD.T, 0.0)
    beside = body @ OUTWARD.T
    aside_mm = np.where(beside >= 0, body_mm, off_mm) * np.abs(beside)
    return np.hypot(back_mm * behind, aside_mm)


def reached(
    cue_mm: ArrayLike, target_mm: ArrayLike, table: Table, player: Player, *, bridge: bool
) -> BoolArray:
    """Whether the player reaches the cue ball for a shot at ``target_mm`` (ghost ball), (...)."""
    cue = np.asarray(cue_mm, dtype=np.float64)
    back = unit(cue - np.asarray(target_mm, dtype=np.float64))
    room = stretch_mm(back, player, bridge=bridge) - rail_distances_mm(cue, table)
    return np.asarray(room.max(axis=-1) >= 0)


def reach(cue_mm: ArrayLike, target_mm: ArrayLike, table: Table, player: Player) -> str:
    """``hand``, ``bridge`` (mechanical bridge) or ``out of reach``, for one place."""
    if bool(reached(cue_mm, target_mm, table, player, bridge=False)):
        return "hand"
    by_bridge = bool(reached(cue_mm, target_mm, table, player, bridge=True))
    return "bridge" if by_bridge else "out of reach"


def over_ball(
    cue_mm: ArrayLike, target_mm: ArrayLike, others_mm: ArrayLike, player: Player
) -> BoolArray:
    """Whether the cue must clear a ball behind the cue ball more steeply than the player likes.

    ``others_mm`` (..., M, 2). The cue's axis runs through the cue ball's centre and must pass
    R + shaft radius from the other ball's centre. A ball g behind the cue ball and l beside the
    line needs elevation asin(√((R + r)² − l²) / g).
    """
    cue = np.asarray(cue_mm, dtype=np.float64)[..., None, :]
    target = np.asarray(target_mm, dtype=np.float64)[..., None, :]
    back = unit(cue - target)
    way = np.asarray(others_mm, dtype=np.float64) - cue
    behind, beside = dot(way, back), cross(back, way)
    clear = BALL_RADIUS_MM + player.shaft_radius_mm
    rise = behind * math.sin(math.radians(player.elevation_limit_deg))
    return np.asarray(((behind > 0) & (rise**2 + beside**2 < clear**2)).any(axis=-1))
