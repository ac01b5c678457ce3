"""Can the player get at the cue ball: by hand, with a mechanical bridge, over a ball."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_RADIUS_MM, Table
from service.position.geometry import left_of
from service.position.meant.player import Player

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
    """Whether the player reaches the cue ball for a shot at ``target_mm`` (ghost ball), (...).

    The same as a stretch (``stretch_mm``) of at least the distance towards any nose line.
    """
    cue, target = np.asarray(cue_mm, dtype=np.float64), np.asarray(target_mm, dtype=np.float64)
    back_x, back_y = cue[..., 0] - target[..., 0], cue[..., 1] - target[..., 1]
    square = back_x * back_x + back_y * back_y
    kind = "bridge" if bridge else "hand"
    back_mm = getattr(player, f"{kind}_back_mm")
    body_mm = getattr(player, f"{kind}_body_side_mm")
    off_mm = getattr(player, f"{kind}_off_side_mm")
    turn = 1.0 if player.handedness == "right" else -1.0
    body_x, body_y = turn * back_y, -turn * back_x
    fits = np.zeros(square.shape, dtype=np.bool_)
    for behind, beside, gap in (
        (-back_x, -body_x, cue[..., 0]),
        (back_x, body_x, table.length_mm - cue[..., 0]),
        (-back_y, -body_y, cue[..., 1]),
        (back_y, body_y, table.width_mm - cue[..., 1]),
    ):
        straight = back_mm * np.maximum(behind, 0.0)
        aside = np.where(beside >= 0, body_mm, off_mm) * beside
        fits |= (straight * straight + aside * aside >= gap * gap * square) | (gap < 0)
    return np.asarray(fits)


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
    cue, target = np.asarray(cue_mm, dtype=np.float64), np.asarray(target_mm, dtype=np.float64)
    others = np.asarray(others_mm, dtype=np.float64)
    back_x, back_y = cue[..., 0] - target[..., 0], cue[..., 1] - target[..., 1]
    size = np.maximum(np.hypot(back_x, back_y), 1e-300)
    back_x, back_y = (back_x / size)[..., None], (back_y / size)[..., None]
    x, y = others[..., 0] - cue[..., None, 0], others[..., 1] - cue[..., None, 1]
    behind, beside = x * back_x + y * back_y, back_x * y - back_y * x
    clear = BALL_RADIUS_MM + player.shaft_radius_mm
    rise = behind * math.sin(math.radians(player.elevation_limit_deg))
    return np.asarray(((behind > 0) & (rise * rise + beside * beside < clear * clear)).any(axis=-1))
