"""Which places belong to the landing zone of a leave: the rule itself, on arrays of places.

The zone's outline (``zone``) is built from shapes; this is the same rule as a yes or no, which
also takes varied layouts, so that the covariance of every ball can be carried through it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Pocket, PointMm, Table
from service.position.geometry import nearest_on_segment
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.shot.cut import ghost_ball_mm
from service.position.shot.path import EDGE_MM, ghost_room_mm
from service.position.shot.reach import over_ball, reached

EDGE_RAD = 1e-11
"""Rounding slack of a cut limit."""
_LEAST = BALL_DIAMETER_MM - EDGE_MM


@lru_cache(maxsize=256)
def aim_of(table: Table, pocket: str) -> PointMm:
    """Aim point at a pocket of the table."""
    return table.pocket(pocket).aim_mm


@lru_cache(maxsize=32)
def pockets_of(table: Table) -> tuple[Pocket, ...]:
    """The table's pockets, made once."""
    return table.pockets


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
    ball: str
    """The next ball's name."""
    pocket: str | None
    """The next ball's pocket; None where the intent leaves it open."""

    @property
    def aim_mm(self) -> PointMm:
        """Aim point at the next pocket, which must be known."""
        assert self.pocket is not None
        return aim_of(self.table, self.pocket)

    @property
    def inset_mm(self) -> float:
        """Least distance from all nose lines."""
        return max(FROZEN_INSET_MM, self.intent.cushion_mm)

    def into(self, pocket: str) -> Leave:
        """The same leave for one pocket."""
        return self if pocket == self.pocket else replace(self, pocket=pocket)


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
        ball=intent.next,
        pocket=intent.next_pocket,
    )


def belongs(
    cue_mm: ArrayLike,
    leave: Leave,
    *,
    object_mm: ArrayLike | None = None,
    others_mm: ArrayLike | None = None,
) -> BoolArray:
    """Whether places (..., 2) belong to the zone of ``leave``, whose pocket must be known.

    ``object_mm`` (..., 2) and ``others_mm`` (..., M, 2) replace the layout's own places.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    target = np.asarray(leave.object_mm if object_mm is None else object_mm, dtype=np.float64)
    others = np.asarray(
        leave.others_mm if others_mm is None else others_mm, dtype=np.float64
    ).reshape(*(() if others_mm is None else np.shape(others_mm)[:-2]), -1, 2)
    ghost = ghost_ball_mm(target, leave.aim_mm)
    fits = _angles_fit(cue, target, ghost, leave) & _room(cue, leave)
    if others.shape[-2]:
        fits = fits & pot_free(target, leave.aim_mm, others) & way_free(cue, ghost, others)
    fits = fits & (ghost_room_mm(ghost, leave.table) >= -EDGE_MM)
    if leave.intent.reach != "any":
        bridge = leave.intent.reach == "bridge"
        fits = fits & reached(cue, ghost, leave.table, leave.player, bridge=bridge)
    if leave.intent.over_ball != "any" and others.shape[-2]:
        fits = fits & ~over_ball(cue, ghost, others, leave.player)
    return np.asarray(fits)


def pot_free(target_mm: FloatArray, aim_mm: ArrayLike, others_mm: FloatArray) -> BoolArray:
    """Whether every other ball (..., M, 2) leaves the object ball's way to the pocket free."""
    _, near = nearest_on_segment(others_mm, target_mm[..., None, :], np.asarray(aim_mm))
    return np.asarray((near >= _LEAST).all(axis=-1))


def way_free(cue_mm: FloatArray, ghost_mm: FloatArray, others_mm: FloatArray) -> BoolArray:
    """Whether every other ball (..., M, 2) leaves the way from cue to ghost ball free.

    As the way includes the cue ball's own place, a place that overlaps a ball is never free.
    """
    way_x, way_y = cue_mm[..., 0] - ghost_mm[..., 0], cue_mm[..., 1] - ghost_mm[..., 1]
    square = np.maximum(way_x * way_x + way_y * way_y, 1e-300)[..., None]
    way_x, way_y = way_x[..., None], way_y[..., None]
    x = others_mm[..., 0] - ghost_mm[..., None, 0]
    y = others_mm[..., 1] - ghost_mm[..., None, 1]
    share = np.clip((x * way_x + y * way_y) / square, 0.0, 1.0)
    off_x, off_y = x - share * way_x, y - share * way_y
    return np.asarray((off_x * off_x + off_y * off_y >= _LEAST * _LEAST).all(axis=-1))


def _angles_fit(cue: FloatArray, target: FloatArray, ghost: FloatArray, leave: Leave) -> BoolArray:
    intent = leave.intent
    line = (target - ghost) / BALL_DIAMETER_MM
    way_x, way_y = ghost[..., 0] - cue[..., 0], ghost[..., 1] - cue[..., 1]
    ahead = way_x * line[..., 0] + way_y * line[..., 1]
    # cross(u, cue − next): left of the line is positive
    aside = way_x * line[..., 1] - way_y * line[..., 0]
    apart = np.hypot(way_x, way_y)
    low, high = (math.radians(limit) for limit in intent.cut_deg)
    off, slack = np.abs(aside), EDGE_RAD * apart
    fits = ahead > 0
    # apart·sin(cut − low) and apart·sin(high − cut); both cuts lie below 90° here
    if low > 0:
        fits &= off * math.cos(low) - ahead * math.sin(low) >= -slack
    if intent.cut_deg[1] < 90:
        fits &= ahead * math.sin(high) - off * math.cos(high) >= -slack
    if intent.side == "left":
        fits &= aside >= -EDGE_MM
    elif intent.side == "right":
        fits &= aside <= EDGE_MM
    near, far = intent.distance_mm
    if near > 0:
        fits &= apart >= near - EDGE_MM
    if math.isfinite(far):
        fits &= apart <= far + EDGE_MM
    return np.asarray(fits)


def _room(cue: FloatArray, leave: Leave) -> BoolArray:
    """Far enough from all nose lines; a cut below 90° keeps clear of the next ball by itself."""
    x, y, least = cue[..., 0], cue[..., 1], leave.inset_mm - EDGE_MM
    length_mm, width_mm = leave.table.surface_mm
    return np.asarray(
        (x >= least) & (x <= length_mm - least) & (y >= least) & (y <= width_mm - least)
    )


def is_unlimited(distance_mm: tuple[float, float]) -> bool:
    """Whether distance limits leave every distance."""
    return distance_mm[0] <= 0 and math.isinf(distance_mm[1])
