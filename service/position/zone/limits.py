"""The limits of a leave as shapes: what each keeps or takes away, and its wording."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM
from service.position.geometry import length, nearest_on_segment
from service.position.meant.intent import Intent
from service.position.shot.cut import ghost_ball_mm
from service.position.shot.path import EDGE_MM, ghost_room_mm

from . import shapes
from .membership import Leave, is_unlimited


@dataclass(slots=True, kw_only=True)
class Limit:
    """One limit, named as in the intent; its shapes are made when it is first applied."""

    name: str
    make: Callable[[], list[BaseGeometry]]
    keeps: bool
    """Whether only places within all the shapes remain, or only those outside each of them."""
    _shapes: list[BaseGeometry] | None = field(default=None, init=False)

    def apply(self, whole: BaseGeometry) -> BaseGeometry:
        """What of ``whole`` the limit leaves."""
        if self._shapes is None:
            self._shapes = self.make()
        if self.keeps:
            for shape in self._shapes:
                whole = shapes.surfaces(whole & shape)
            return whole
        met = np.asarray(self._shapes, dtype=object)
        if met.size:
            shapely.prepare(whole)
            met = met[shapely.intersects(whole, met)]
        return whole if met.size == 0 else shapes.surfaces(whole - shapely.union_all(met))


class _OutOfReach(Limit):
    """Takes away what lies in all shapes at once: reached from no rail."""

    def apply(self, whole: BaseGeometry) -> BaseGeometry:
        """What of ``whole`` is within reach."""
        if self._shapes is None:
            self._shapes = self.make()
        if len(self._shapes) > 1:
            # not cut to the whole first: shared edges would leave slivers
            self._shapes = [
                functools.reduce(lambda one, other: shapes.surfaces(one & other), self._shapes)
            ]
        return shapes.surfaces(whole - self._shapes[0])


def limits_of(leave: Leave) -> list[Limit]:
    """The limits that the intent sets, in the order in which they are applied."""
    intent, table = leave.intent, leave.table
    ghost, around = shapes.ghost_and_back(
        ghost_ball_mm(leave.object_mm, leave.aim_mm), leave.object_mm
    )
    limits = [Limit(name="cut_deg", make=lambda: [_cut(leave, ghost, around)], keeps=True)]
    if intent.side != "either":
        limits.append(Limit(name="side", make=lambda: [_side(leave, ghost, around)], keeps=True))
    if not is_unlimited(intent.distance_mm):
        make = functools.partial(_distance, leave, ghost, around)
        limits.append(Limit(name="distance_mm", make=make, keeps=True))
    if leave.inset_mm > FROZEN_INSET_MM:
        inner = shapes.bed(table, leave.inset_mm)
        limits.append(Limit(name="cushion_mm", make=lambda: [inner], keeps=True))
    return limits + _ball_limits(leave, ghost, around)


def _ball_limits(leave: Leave, ghost: FloatArray, around: float) -> list[Limit]:
    """Limits by other balls and by reach. A free way keeps clear of the balls' bodies too."""
    intent, player, table, others = leave.intent, leave.player, leave.table, leave.others_mm

    def path() -> list[BaseGeometry]:
        return [shapes.unshadowed(ghost, around, others, shapes.far_mm(table))]

    def over() -> list[BaseGeometry]:
        return shapes.over_ball_places(ghost, around, others, player)

    def unreached() -> list[BaseGeometry]:
        bridge = intent.reach == "bridge"
        return shapes.unreached_by_rail(ghost, around, table, player, bridge=bridge)

    limits = [Limit(name="path", make=path, keeps=True)] if others else []
    if others and intent.over_ball != "any":
        limits.append(Limit(name="over_ball", make=over, keeps=False))
    if intent.reach != "any":
        limits.append(_OutOfReach(name="reach", make=unreached, keeps=False))
    return limits


def _cut(leave: Leave, ghost: FloatArray, around: float) -> BaseGeometry:
    low, high = (math.radians(angle) for angle in leave.intent.cut_deg)
    far = shapes.far_mm(leave.table)
    if low == high:
        return Polygon()
    if low == 0.0:
        return shapes.wedge(ghost, around - high, around + high, far)
    wedges = [
        shapes.wedge(ghost, around - high, around - low, far),
        shapes.wedge(ghost, around + low, around + high, far),
    ]
    return MultiPolygon(wedges)


def _side(leave: Leave, ghost: FloatArray, around: float) -> BaseGeometry:
    # seen from the ghost ball outwards, the left of the line lies to the right
    left = leave.intent.side == "left"
    first, last = (around - shapes.FAN_RAD, around) if left else (around, around + shapes.FAN_RAD)
    return shapes.wedge(ghost, first, last, shapes.far_mm(leave.table))


def _distance(leave: Leave, ghost: FloatArray, around: float) -> list[BaseGeometry]:
    near, most = leave.intent.distance_mm
    far = shapes.far_mm(leave.table)
    if near == most or near >= far:
        return [Polygon()]
    return [shapes.ring(ghost, around, near, min(most, far))]


def fixed_obstacle(leave: Leave) -> str | None:
    """What shuts the path wherever the cue ball stops, as a sentence; None where nothing does."""
    ghost = ghost_ball_mm(leave.object_mm, leave.aim_mm)
    ball, pocket = leave.ball, leave.pocket
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
    cut, distance = intent.cut_deg, intent.distance_mm
    texts: Mapping[str, str] = {
        "cut_deg": f"no place has a cut of {cut[0]:g} to {cut[1]:g}°",
        "side": f"no place lies on the {intent.side} of the line with the other limits",
        "distance_mm": f"no place lies {distance[0]:g} to {distance[1]:g} mm "
        "from the ghost ball with the other limits",
        "cushion_mm": f"no place is {intent.cushion_mm:g} mm from all cushions",
        "path": "other balls block every way to the next ball",
        "over_ball": "every place makes the player cue over a ball",
        "reach": "every place is out of the player's reach",
    }
    if name == "cut_deg" and cut[0] == cut[1]:
        return f"places with a cut of exactly {cut[0]:g}° are a line without width; widen it"
    if name == "distance_mm" and distance[0] == distance[1]:
        return f"places exactly {distance[0]:g} mm away are a line without width; widen it"
    return texts[name]
