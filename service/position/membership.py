"""Which places belong to the landing zone of a leave: the rule itself, on arrays of places.

The zone's outline (``zone``) is built from shapes; this is the same rule as a yes or no, which
also takes varied layouts, so that the covariance of every ball can be carried through it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, PointMm, Table

from .cut import cut_deg, ghost_ball_mm, side_of_line_mm
from .geometry import BoolArray, FloatArray, length, nearest_on_segment
from .intent import Intent
from .path import EDGE_MM, ghost_room_mm
from .player import Player
from .reach import over_ball, rail_distances_mm, reached

EDGE_DEG = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Leave:
    """A leave to be judged: intent, table, player, and the balls there besides the cue ball."""

    intent: Intent
    table: Table
    player: Player
    object_mm: PointMm
    """The next ball's centre."""
    others_mm: tuple[PointMm, ...]
    """Centres of the balls besides cue ball and next ball."""
    other_names: tuple[str, ...]

    @property
    def aim_mm(self) -> PointMm:
        """Aim point at the next pocket."""
        assert self.intent.next_pocket is not None
        return self.table.pocket(self.intent.next_pocket).aim_mm

    @property
    def inset_mm(self) -> float:
        """Least distance from all nose lines."""
        return max(FROZEN_INSET_MM, self.intent.cushion_mm)


def path_open(
    cue_mm: ArrayLike, object_mm: ArrayLike, aim_mm: ArrayLike, others_mm: ArrayLike, table: Table
) -> BoolArray:
    """Whether both legs are free and the ghost ball has room, by the nominal places.

    Shapes: cue and object ball (..., 2), others (..., M, 2), broadcast.
    """
    cue, target = np.asarray(cue_mm, dtype=np.float64), np.asarray(object_mm, dtype=np.float64)
    others = np.asarray(others_mm, dtype=np.float64)
    aim = np.asarray(aim_mm, dtype=np.float64)
    ghost = ghost_ball_mm(target, aim)
    free = ghost_room_mm(ghost, table) >= -EDGE_MM
    if others.shape[-2] == 0:
        return np.broadcast_to(free, np.broadcast_shapes(cue.shape[:-1], free.shape))
    least = BALL_DIAMETER_MM - EDGE_MM
    _, near_pot = nearest_on_segment(others, target[..., None, :], aim)
    _, near_cue = nearest_on_segment(others, cue[..., None, :], ghost[..., None, :])
    return np.asarray(free & (near_pot >= least).all(axis=-1) & (near_cue >= least).all(axis=-1))


def belongs(
    cue_mm: ArrayLike,
    leave: Leave,
    *,
    object_mm: ArrayLike | None = None,
    others_mm: ArrayLike | None = None,
) -> BoolArray:
    """Whether places (..., 2) belong to the zone of ``leave``.

    ``object_mm`` (..., 2) and ``others_mm`` (..., M, 2) replace the layout's own places.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    target = np.asarray(leave.object_mm if object_mm is None else object_mm, dtype=np.float64)
    others = np.asarray(
        leave.others_mm if others_mm is None else others_mm, dtype=np.float64
    ).reshape(*(() if others_mm is None else np.shape(others_mm)[:-2]), -1, 2)
    return np.asarray(
        _angles_fit(cue, target, leave)
        & _room(cue, target, others, leave)
        & path_open(cue, target, leave.aim_mm, others, leave.table)
        & _playable(cue, target, others, leave)
    )


def _angles_fit(cue: FloatArray, target: FloatArray, leave: Leave) -> BoolArray:
    intent, aim = leave.intent, leave.aim_mm
    cut = cut_deg(cue, target, aim)
    low, high = intent.cut_deg
    fits = (cut >= low - EDGE_DEG) & (cut <= high + EDGE_DEG) & (cut < 90.0)
    offset = side_of_line_mm(cue, target, aim)
    if intent.side == "left":
        fits &= offset >= -EDGE_MM
    elif intent.side == "right":
        fits &= offset <= EDGE_MM
    apart = length(ghost_ball_mm(target, aim) - cue)
    near, far = intent.distance_mm
    return np.asarray(fits & (apart >= near - EDGE_MM) & (apart <= far + EDGE_MM))


def _room(cue: FloatArray, target: FloatArray, others: FloatArray, leave: Leave) -> BoolArray:
    least = BALL_DIAMETER_MM - EDGE_MM
    rails = rail_distances_mm(cue, leave.table).min(axis=-1)
    free = (rails >= leave.inset_mm - EDGE_MM) & (length(cue - target) >= least)
    return np.asarray(free & (length(cue[..., None, :] - others) >= least).all(axis=-1))


def _playable(cue: FloatArray, target: FloatArray, others: FloatArray, leave: Leave) -> BoolArray:
    ghost = ghost_ball_mm(target, leave.aim_mm)
    fits = np.ones(np.broadcast_shapes(cue.shape, target.shape)[:-1], dtype=np.bool_)
    if leave.intent.reach != "any":
        bridge = leave.intent.reach == "bridge"
        fits &= reached(cue, ghost, leave.table, leave.player, bridge=bridge)
    if leave.intent.over_ball != "any" and others.shape[-2]:
        fits &= ~over_ball(cue, ghost, others, leave.player)
    return fits


def leave_of(
    intent: Intent, table: Table, player: Player, places_mm: dict[str, PointMm]
) -> Leave | None:
    """The leave on these places (without the cue ball); None without next ball or its place."""
    if intent.next is None or intent.next not in places_mm:
        return None
    names = tuple(name for name in places_mm if name not in ("cue", intent.next))
    return Leave(
        intent=intent,
        table=table,
        player=player,
        object_mm=places_mm[intent.next],
        others_mm=tuple(places_mm[name] for name in names),
        other_names=names,
    )


def is_unlimited(distance_mm: tuple[float, float]) -> bool:
    """Whether distance limits leave every distance."""
    return distance_mm[0] <= 0 and math.isinf(distance_mm[1])
