"""The limits of a leave as shapes: what each keeps or takes away, and its wording."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM

from . import shapes
from .cut import ghost_ball_mm
from .geometry import FloatArray, length, nearest_on_segment
from .intent import Intent
from .membership import Leave, is_unlimited
from .path import EDGE_MM, ghost_room_mm


@dataclass(slots=True, kw_only=True)
class Limit:
    """One limit, named as in the intent; its shape is made when it is first applied."""

    name: str
    make: Callable[[], BaseGeometry]
    keeps: bool
    """Whether only places within the shape remain, or only those outside."""
    _shape: BaseGeometry | None = field(default=None, init=False)

    def apply(self, whole: BaseGeometry) -> BaseGeometry:
        """What of ``whole`` the limit leaves."""
        if self._shape is None:
            self._shape = self.make()
        return whole & self._shape if self.keeps else whole - self._shape


def limits_of(leave: Leave) -> list[Limit]:
    """The limits that the intent sets, in the order in which they are applied."""
    intent, table = leave.intent, leave.table
    ghost = ghost_ball_mm(leave.object_mm, leave.aim_mm)
    back = ghost - np.asarray(leave.object_mm)
    around = math.atan2(back[1], back[0])
    limits = [Limit(name="cut_deg", make=lambda: _cut(leave, ghost, around), keeps=True)]
    if intent.side != "either":
        limits.append(Limit(name="side", make=lambda: _side(leave, ghost, around), keeps=True))
    if not is_unlimited(intent.distance_mm):
        limits.append(Limit(name="distance_mm", make=lambda: _distance(leave, ghost), keeps=True))
    if leave.inset_mm > FROZEN_INSET_MM:
        inner = shapes.bed(table, leave.inset_mm)
        limits.append(Limit(name="cushion_mm", make=lambda: inner, keeps=True))
    return limits + _ball_limits(leave, ghost, around)


def _ball_limits(leave: Leave, ghost: FloatArray, around: float) -> list[Limit]:
    intent, player, table = leave.intent, leave.player, leave.table
    others, far = leave.others_mm, shapes.far_mm(table)

    def path() -> BaseGeometry:
        return shapely.union_all([shapes.shadow(ghost, ball, far) for ball in others])

    def balls() -> BaseGeometry:
        bodies = [shapes.disc(ball, BALL_DIAMETER_MM) for ball in (leave.object_mm, *others)]
        return shapely.union_all(bodies)

    def over() -> BaseGeometry:
        return shapely.union_all([shapes.over_ball_places(ghost, b, player) for b in others])

    def reach() -> BaseGeometry:
        bridge = intent.reach == "bridge"
        return shapes.reach_places(ghost, around, table, player, bridge=bridge)

    limits = [Limit(name="path", make=path, keeps=False)] if others else []
    limits.append(Limit(name="balls", make=balls, keeps=False))
    if others and intent.over_ball != "any":
        limits.append(Limit(name="over_ball", make=over, keeps=False))
    if intent.reach != "any":
        limits.append(Limit(name="reach", make=reach, keeps=True))
    return limits


def _cut(leave: Leave, ghost: FloatArray, around: float) -> BaseGeometry:
    low, high = (math.radians(angle) for angle in leave.intent.cut_deg)
    far = shapes.far_mm(leave.table)
    if low == 0.0:
        return shapes.wedge(ghost, around - high, around + high, far)
    sides: Sequence[int] = (-1, 1)
    return shapely.union_all(
        [shapes.wedge(ghost, around + s * low, around + s * high, far) for s in sides]
    )


def _side(leave: Leave, ghost: FloatArray, around: float) -> BaseGeometry:
    # seen from the ghost ball outwards, the left of the line lies to the right
    turn = -math.pi if leave.intent.side == "left" else math.pi
    return shapes.wedge(ghost, around, around + turn, shapes.far_mm(leave.table))


def _distance(leave: Leave, ghost: FloatArray) -> BaseGeometry:
    near, most = leave.intent.distance_mm
    far = shapes.far_mm(leave.table)
    centre = (float(ghost[0]), float(ghost[1]))
    outer = shapes.disc(centre, most) if most < far else shapes.bed(leave.table, 0.0)
    return outer - shapes.disc(centre, min(near, far)) if near > 0 else outer


def fixed_obstacle(leave: Leave) -> str | None:
    """What shuts the path wherever the cue ball stops, as a sentence; None where nothing does."""
    ghost = ghost_ball_mm(leave.object_mm, leave.aim_mm)
    ball, pocket = leave.intent.next, leave.intent.next_pocket
    if float(ghost_room_mm(ghost, leave.table)) < -EDGE_MM:
        return (
            f"path: ball {ball} lies so near a cushion that no cue ball fits behind it for {pocket}"
        )
    if not leave.others_mm:
        return None
    others = np.asarray(leave.others_mm)
    least = BALL_DIAMETER_MM - EDGE_MM
    _, near = nearest_on_segment(others, np.asarray(leave.object_mm), np.asarray(leave.aim_mm))
    blocking = [leave.other_names[i] for i in np.flatnonzero(near < least)]
    if blocking:
        return f"path: ball {', '.join(blocking)} blocks the way of ball {ball} to {pocket}"
    filling = [leave.other_names[i] for i in np.flatnonzero(length(others - ghost) < least)]
    if filling:
        return (
            f"path: ball {', '.join(filling)} lies where the cue ball would have to touch ball "
            f"{ball} for {pocket}"
        )
    return None


def limit_text(intent: Intent, name: str) -> str:
    """Why the limit leaves no place, as a clause."""
    texts: Mapping[str, str] = {
        "cut_deg": f"no place has a cut of {intent.cut_deg[0]:g} to {intent.cut_deg[1]:g}°",
        "side": f"no place lies on the {intent.side} of the line with the other limits",
        "distance_mm": f"no place lies {intent.distance_mm[0]:g} to {intent.distance_mm[1]:g} mm "
        "from the ghost ball with the other limits",
        "cushion_mm": f"no place is {intent.cushion_mm:g} mm from all cushions",
        "path": "other balls block every way to the next ball",
        "balls": "other balls fill every place",
        "over_ball": "every place makes the player cue over a ball",
        "reach": "every place is out of the player's reach",
    }
    return texts[name]
