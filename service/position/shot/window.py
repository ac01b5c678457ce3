"""The pocket's window as a ball sees it from its approach angle."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, Pocket, PointMm
from service.position.geometry import cross, dot, length

_TURNS = 129


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


def facing_turn_rad(pocket: Pocket) -> float:
    """How far each facing leans in from the mouth's perpendicular: 7° and 14° on a standard table.

    The facing is turned 180° − cut from the nose line's run, the perpendicular 45° at a corner
    and 90° at a side.
    """
    axis_deg = 90.0 if pocket.name.startswith("side") else 45.0
    return math.radians(axis_deg - (180.0 - pocket.cut_deg))


def entry_turns_rad(object_mm: PointMm, pocket: Pocket) -> tuple[float, float] | None:
    """Turns of the ball's direction off the line to the aim point between which it goes in.

    Rightmost and leftmost, left positive; None where it cannot. Exact from the ball's place: the
    ball passes both nose points by its radius, unless it moves away from one. For a ball far
    away this is ``margin_deg`` to either side; for one in the jaws it is much more. A ball that
    would touch the far facing before it drops (mouth, cut angle, shelf) counts only while the
    facing's mirror image of its way still leads inward.
    """
    (ax, ay), (ix, iy) = pocket.aim_mm, pocket.inward
    way = (ax - object_mm[0], ay - object_mm[1])
    right, left = (
        sign * (_bearing_rad(way, point, object_mm, sign) - _half_width_rad(point, object_mm))
        for sign, point in ((-1.0, pocket.nose_points_mm[1]), (1.0, pocket.nose_points_mm[0]))
    )
    off_axis = math.atan2(ix * way[1] - iy * way[0], ix * way[0] + iy * way[1])
    right = max(right, -math.pi / 2 - off_axis)
    left = min(left, math.pi / 2 - off_axis)
    if right >= left:
        return None
    steepest = max(abs(right + off_axis), abs(left + off_axis))
    if steepest <= math.pi / 2 - 2 * facing_turn_rad(pocket):
        return right, left
    turns = np.linspace(right, left, _TURNS)
    return _longest(turns, _drops(object_mm, pocket, turns + off_axis))


def _bearing_rad(way: PointMm, point: PointMm, object_mm: PointMm, sign: float) -> float:
    """Bearing of a nose point off the way to the aim point, positive to its own side, 0 … 2π."""
    x, y = point[0] - object_mm[0], point[1] - object_mm[1]
    angle = sign * math.atan2(way[0] * y - way[1] * x, way[0] * x + way[1] * y)
    return angle if angle >= 0 else angle + 2 * math.pi


def _half_width_rad(point: PointMm, object_mm: PointMm) -> float:
    apart = math.dist(point, object_mm)
    return math.asin(min(1.0, BALL_RADIUS_MM / max(apart, BALL_RADIUS_MM)))


def _drops(object_mm: PointMm, pocket: Pocket, alpha_rad: FloatArray) -> BoolArray:
    """Whether a ball that passed both points drops, for directions α off the perpendicular."""
    lean = facing_turn_rad(pocket)
    inward = np.asarray(pocket.inward)
    there = np.asarray(object_mm) - np.asarray(pocket.aim_mm)
    depth, aside = float(dot(inward, there)), float(cross(inward, there))
    flat = np.abs(alpha_rad)
    # where the centre crosses the mouth line, towards the facing that it heads for
    crossing = np.sign(alpha_rad) * (aside - depth * np.tan(alpha_rad))
    room = (pocket.mouth_mm / 2 - crossing) * math.cos(lean) - BALL_RADIUS_MM
    untouched = room * np.cos(flat) >= pocket.shelf_mm * np.sin(flat + lean)
    return np.asarray((flat <= math.pi / 2 - 2 * lean) | untouched)


def _longest(turns: FloatArray, good: BoolArray) -> tuple[float, float] | None:
    """Ends of the longest run of good turns."""
    where = np.flatnonzero(good)
    if where.size < 2:
        return None
    run = max(np.split(where, np.flatnonzero(np.diff(where) > 1) + 1), key=len)
    return (float(turns[run[0]]), float(turns[run[-1]])) if len(run) > 1 else None
