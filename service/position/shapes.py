"""The shapes a landing zone is cut from, as seen from the ghost ball (``shapely``, mm).

Curves are chords of true arcs; the chord error stays below ``CHORD_MM``.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, PointMm, Table

from .geometry import FloatArray, length, polar
from .player import Player
from .reach import OUTWARD, rail_distances_mm, stretch_mm

CHORD_MM = 0.02
"""Greatest distance between a true arc and its chords."""
REACH_STEP_RAD = math.radians(0.2)


def arc_angles(start_rad: float, end_rad: float, radius_mm: float) -> FloatArray:
    """Angles from start to end whose chords stay within ``CHORD_MM`` of the arc."""
    step = 2 * math.acos(1 - CHORD_MM / max(radius_mm, 1.0))
    count = max(2, math.ceil(abs(end_rad - start_rad) / step) + 1)
    return np.linspace(start_rad, end_rad, count)


def far_mm(table: Table) -> float:
    """A distance that lies beyond the table from every place on it."""
    return 3 * math.hypot(*table.surface_mm)


def bed(table: Table, inset_mm: float) -> BaseGeometry:
    """Places at least ``inset_mm`` from all nose lines."""
    length_mm, width_mm = table.surface_mm
    if 2 * inset_mm >= width_mm:
        return Polygon()
    return shapely.box(inset_mm, inset_mm, length_mm - inset_mm, width_mm - inset_mm)


def disc(centre_mm: PointMm, radius_mm: float) -> Polygon:
    """A full disc."""
    return Polygon(polar(centre_mm, arc_angles(0, 2 * math.pi, radius_mm)[:-1], radius_mm))


def wedge(ghost_mm: ArrayLike, first_rad: float, last_rad: float, far: float) -> BaseGeometry:
    """Places seen from the ghost ball between two angles, at most 180° apart, out to ``far``."""
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    # the far edge lies off the table, so its chords may be long
    outer = polar(ghost, np.linspace(first_rad, last_rad, 17), far)
    return Polygon(np.concatenate([outer, ghost[None, :]]))


def shadow(ghost_mm: ArrayLike, ball_mm: PointMm, beyond_mm: float) -> BaseGeometry:
    """Places whose straight way to the ghost ball passes nearer than D to a ball's centre.

    The ball's disc of radius D and everything behind it between the two tangents. The ghost
    ball must be at least D away from the ball.
    """
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    way = np.asarray(ball_mm) - ghost
    apart = float(length(way))
    bearing = math.atan2(way[1], way[0])
    half = math.asin(min(1.0, BALL_DIAMETER_MM / apart))
    turn = math.pi / 2 - half
    back = bearing + math.pi
    near = polar(ball_mm, arc_angles(back - turn, back + turn, BALL_DIAMETER_MM), BALL_DIAMETER_MM)
    far = polar(ghost, np.linspace(bearing - half, bearing + half, 9), beyond_mm)
    # the near arc runs from the left tangent to the right one, the far arc back again
    return Polygon(np.concatenate([near, far]))


def over_ball_places(ghost_mm: ArrayLike, ball_mm: PointMm, player: Player) -> BaseGeometry:
    """Places from which the cue, aimed at the ghost ball, meets a ball behind the cue ball.

    Seen from the ghost ball at distance r, turned Δ off the ball's bearing, the ball lies
    r·sin Δ beside the line and r·cos Δ − s behind the cue ball (see ``reach.over_ball``).
    """
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    way = np.asarray(ball_mm) - ghost
    apart, bearing = float(length(way)), math.atan2(way[1], way[0])
    clear = BALL_RADIUS_MM + player.shaft_radius_mm
    if apart <= clear:
        return Polygon()
    beside = clear * np.sin(np.linspace(-math.pi / 2, math.pi / 2, 129))
    turn = np.arcsin(beside / apart)
    outer = apart * np.cos(turn)
    steep = math.sin(math.radians(player.elevation_limit_deg))
    behind = np.sqrt(np.maximum(clear**2 - beside**2, 0.0)) / steep
    inner = np.maximum(outer - behind, 0.0)
    ring = [polar(ghost, bearing + turn, outer), polar(ghost, bearing + turn[::-1], inner[::-1])]
    return shapely.make_valid(Polygon(np.concatenate(ring)))


def reach_places(
    ghost_mm: ArrayLike, around_rad: float, table: Table, player: Player, *, bridge: bool
) -> BaseGeometry:
    """Places within reach among those up to 90° to either side of ``around_rad``.

    For each nose line and each direction from the ghost ball the places within reach are one
    stretch of that ray, because the cue's direction is the ray's own.
    """
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    first, last = around_rad - math.pi / 2 - 0.01, around_rad + math.pi / 2 + 0.01
    quarters = np.arange(math.ceil(first / (math.pi / 2)), last / (math.pi / 2)) * (math.pi / 2)
    angles = np.union1d(np.arange(first, last, REACH_STEP_RAD), np.append(quarters, last))
    directions = polar((0.0, 0.0), angles, 1.0)
    stretch = stretch_mm(directions, player, bridge=bridge)
    missing = rail_distances_mm(ghost, table) - stretch
    beyond = far_mm(table)
    pieces = []
    for rail in range(4):
        towards = directions @ OUTWARD[rail]
        towards = np.where(np.abs(towards) < 1e-12, 0.0, towards)
        near, far = _stretch_of_ray(missing[:, rail], towards, beyond)
        pieces += _bands(ghost, angles, near, far)
    return shapely.union_all(pieces)


def _stretch_of_ray(
    missing_mm: FloatArray, towards: FloatArray, beyond_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Nearest and farthest place on each ray where missing ≤ s·towards; near > far for none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = missing_mm / towards
    near = np.where(towards > 0, np.maximum(ratio, 0.0), 0.0)
    far = np.where(towards < 0, ratio, beyond_mm)
    far = np.where((towards == 0) & (missing_mm > 0), -1.0, far)
    return np.minimum(near, beyond_mm), np.minimum(far, beyond_mm)


def _bands(
    ghost: FloatArray, angles: FloatArray, near: FloatArray, far: FloatArray
) -> list[BaseGeometry]:
    """One polygon for every run of rays that have a stretch."""
    bands: list[BaseGeometry] = []
    present = np.flatnonzero(far > near)
    if present.size == 0:
        return bands
    for run in np.split(present, np.flatnonzero(np.diff(present) > 1) + 1):
        # the run reaches to its neighbours, where the stretch has shrunk to nothing
        rays = np.arange(max(run[0] - 1, 0), min(run[-1] + 2, len(angles)))
        inner = np.minimum(near[rays], np.maximum(far[rays], 0.0))
        outer = np.maximum(far[rays], inner)
        if len(rays) > 1:
            ring = [
                polar(ghost, angles[rays], outer),
                polar(ghost, angles[rays][::-1], inner[::-1]),
            ]
            bands.append(shapely.make_valid(Polygon(np.concatenate(ring))))
    return bands
