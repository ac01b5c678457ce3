"""The shapes a landing zone is cut from, as seen from the ghost ball (``shapely``, mm).

Curves are chords of true arcs; the chord error stays below ``CHORD_MM``. Everything is drawn for
places up to 90° to either side of straight behind the ghost ball: nothing else can be played.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, PointMm, Table
from service.position.geometry import polar
from service.position.meant.player import Player
from service.position.shot.reach import OUTWARD, rail_distances_mm, stretch_mm

CHORD_MM = 0.02
"""Greatest distance between a true arc and its chords."""
QUARTER_RAD = math.pi / 2
FAN_RAD = QUARTER_RAD + 1e-4
"""Half the fan of rays that shapes are drawn for, past the greatest cut: no edge of theirs runs
along one of the cut's, where rounding would leave slivers."""
BESIDE_RAD = 1e-9
"""How far beside a jump in a star-shaped outline its two ends lie."""
LEAST_AREA_MM2 = 0.01
"""Pieces smaller than this are rounding, not places."""
_POLYGON = 3
_NOTHING = Polygon()
_REACH_STEP_RAD = math.radians(0.5)
_LEAST_MM = 1e-6


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


def wedge(ghost_mm: FloatArray, first_rad: float, last_rad: float, far: float) -> Polygon:
    """Places seen from the ghost ball between two angles, at most 180° apart, out to ``far``."""
    # the far edge lies off the table, so its chords may be long
    outer = polar(ghost_mm, np.linspace(first_rad, last_rad, 9), far)
    return Polygon(np.concatenate([outer, ghost_mm[None, :]]))


def ring(ghost_mm: FloatArray, around_rad: float, near_mm: float, most_mm: float) -> BaseGeometry:
    """Places from ``near_mm`` to ``most_mm`` from the ghost ball."""
    ends = (around_rad - FAN_RAD, around_rad + FAN_RAD)
    outer = polar(ghost_mm, arc_angles(*ends, most_mm), most_mm)
    if near_mm <= 0:
        return Polygon(np.concatenate([outer, ghost_mm[None, :]]))
    inner = polar(ghost_mm, arc_angles(*ends, near_mm)[::-1], near_mm)
    return Polygon(np.concatenate([outer, inner]))


def unshadowed(
    ghost_mm: FloatArray, around_rad: float, balls_mm: Sequence[PointMm], far: float
) -> BaseGeometry:
    """Places whose straight way to the ghost ball keeps D from every ball's centre.

    Star-shaped about the ghost ball: on each ray the places before the first touch. Vertices
    are chords of the balls' discs, the tangents, and the crossings of discs. The ghost ball
    itself must be at least D away from every ball.
    """
    way = np.asarray(balls_mm) - ghost_mm
    apart = np.maximum(np.hypot(way[:, 0], way[:, 1]), BALL_DIAMETER_MM)
    bearing = np.arctan2(way[:, 1], way[:, 0]) - around_rad
    bearing = np.remainder(bearing + math.pi, 2 * math.pi) - math.pi
    half = np.arcsin(np.minimum(BALL_DIAMETER_MM / apart, 1.0))
    near = np.abs(bearing) - half < FAN_RAD
    way, apart, bearing, half = way[near], apart[near], bearing[near], half[near]
    tangents = np.concatenate([bearing - half, bearing + half])
    angles = np.concatenate(
        [
            _arcs_rad(apart, half, bearing),
            _crossings_rad(way, around_rad),
            tangents - BESIDE_RAD,
            tangents + BESIDE_RAD,
            np.linspace(-FAN_RAD, FAN_RAD, 9),
        ]
    )
    angles = np.unique(angles[np.abs(angles) <= FAN_RAD])
    turn = angles[:, None] - bearing
    beside = apart * np.sin(turn)
    under = np.sqrt(np.maximum(BALL_DIAMETER_MM**2 - beside * beside, 0.0))
    touch = np.where(np.abs(turn) < half, np.maximum(apart * np.cos(turn) - under, 0.0), far)
    reach = touch.min(axis=1, initial=far)
    return _star(ghost_mm, angles + around_rad, reach)


@lru_cache(maxsize=1)
def _half_disc_rad() -> FloatArray:
    """Angles about a ball's centre, ±90°, whose chords of its disc of radius D are fine enough."""
    return arc_angles(-QUARTER_RAD, QUARTER_RAD, BALL_DIAMETER_MM)


def _arcs_rad(apart: FloatArray, half: FloatArray, bearing: FloatArray) -> FloatArray:
    """Bearings of the points on the near sides of the balls' discs, up to the tangents."""
    about = _half_disc_rad() * ((QUARTER_RAD - half) / QUARTER_RAD)[:, None]
    x = apart[:, None] - BALL_DIAMETER_MM * np.cos(about)
    return np.asarray((np.arctan2(BALL_DIAMETER_MM * np.sin(about), x) + bearing[:, None]).ravel())


def _crossings_rad(way: FloatArray, around_rad: float) -> FloatArray:
    """Bearings at which the discs of two balls cross."""
    first, second = np.triu_indices(len(way), k=1)
    gap = way[second] - way[first]
    apart = np.hypot(gap[:, 0], gap[:, 1])
    some = (apart > 0) & (apart < 2 * BALL_DIAMETER_MM)
    gap, apart = gap[some], apart[some]
    middle = way[first[some]] + gap / 2
    rise = (np.sqrt(BALL_DIAMETER_MM**2 - (apart / 2) ** 2) / apart)[:, None]
    aside = rise * np.stack([-gap[:, 1], gap[:, 0]], axis=-1)
    both = np.concatenate([middle + aside, middle - aside])
    angle = np.arctan2(both[:, 1], both[:, 0]) - around_rad
    return np.asarray(np.remainder(angle + math.pi, 2 * math.pi) - math.pi)


def _star(ghost_mm: FloatArray, angles: FloatArray, reach: FloatArray) -> BaseGeometry:
    """The star-shaped surface about the ghost ball, one polygon for every run of open rays."""
    runs = np.flatnonzero(reach > _LEAST_MM)
    pieces = []
    for run in np.split(runs, np.flatnonzero(np.diff(runs) > 1) + 1):
        if len(run) > 1:
            outer = polar(ghost_mm, angles[run], reach[run])
            pieces.append(Polygon(np.concatenate([outer, ghost_mm[None, :]])))
    return pieces[0] if len(pieces) == 1 else MultiPolygon(pieces)


def over_ball_places(
    ghost_mm: FloatArray, around_rad: float, balls_mm: Sequence[PointMm], player: Player
) -> list[BaseGeometry]:
    """For each ball the places from which the cue, aimed at the ghost ball, meets it.

    Seen from the ghost ball at distance r, turned Δ off the ball's bearing, the ball lies
    r·sin Δ beside the line and r·cos Δ − s behind the cue ball (see ``reach.over_ball``).
    """
    way = np.asarray(balls_mm) - ghost_mm
    apart = np.hypot(way[:, 0], way[:, 1])
    clear = BALL_RADIUS_MM + player.shaft_radius_mm
    bearing = np.arctan2(way[:, 1], way[:, 0])
    off = np.abs(np.remainder(bearing - around_rad + math.pi, 2 * math.pi) - math.pi)
    half = np.arcsin(np.minimum(clear / np.maximum(apart, clear), 1.0))
    some = (apart > clear) & (off - half < QUARTER_RAD)
    apart, bearing = apart[some, None], bearing[some, None]
    steep = math.sin(math.radians(player.elevation_limit_deg))
    # an ellipse of semi-axes clear and clear / steep, in chords
    step = math.sqrt(8 * CHORD_MM * steep / clear)
    about = np.linspace(-QUARTER_RAD, QUARTER_RAD, math.ceil(math.pi / step) + 1)
    turn = np.arcsin(clear * np.sin(about) / apart)
    outer = apart * np.cos(turn)
    inner = np.maximum(outer - clear / steep * np.cos(about), 0.0)
    rings = np.concatenate(
        [_polar_each(ghost_mm, bearing + turn, outer),
         _polar_each(ghost_mm, (bearing + turn)[:, ::-1], inner[:, ::-1])],
        axis=1,
    )  # fmt: skip
    return [_sound(ring) for ring in rings]


def _polar_each(origin_mm: FloatArray, angles: FloatArray, radii: FloatArray) -> FloatArray:
    x, y = radii * np.cos(angles) + origin_mm[0], radii * np.sin(angles) + origin_mm[1]
    return np.stack([x, y], axis=-1)


def unreached_by_rail(
    ghost_mm: FloatArray, around_rad: float, table: Table, player: Player, *, bridge: bool
) -> list[BaseGeometry]:
    """For each nose line the places that are out of the player's reach from behind it.

    On each ray from the ghost ball the cue's direction is the ray's own, so a nose line is
    reached on one stretch of the ray; what lies in all four shapes is out of reach.
    """
    angles = _reach_rays_rad(around_rad)
    directions = polar((0.0, 0.0), angles, 1.0)
    missing = rail_distances_mm(ghost_mm, table) - stretch_mm(directions, player, bridge=bridge)
    towards = directions @ OUTWARD.T
    towards[np.abs(towards) < 1e-12] = 0.0
    beyond = far_mm(table)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.maximum(missing / towards, 0.0)
    # out of reach from start to end of the ray; towards the nose it begins to be reached
    end = np.where(towards > 0, np.minimum(np.where(missing > 0, ratio, 0.0), beyond), beyond)
    start = np.where(towards < 0, np.minimum(np.where(missing > 0, 0.0, ratio), beyond), 0.0)
    level = (towards == 0) & (missing <= 0)
    end = np.where(level, 0.0, end)
    return [_between(ghost_mm, angles, start[:, rail], end[:, rail]) for rail in range(4)]


def _reach_rays_rad(around_rad: float) -> FloatArray:
    """Rays that are dense where a nose line runs along them, for the stretch jumps there."""
    first, last = around_rad - FAN_RAD, around_rad + FAN_RAD
    quarters = np.arange(math.ceil(first / QUARTER_RAD), last / QUARTER_RAD) * QUARTER_RAD
    closer = np.append(_REACH_STEP_RAD * 0.5 ** np.arange(0, 16), BESIDE_RAD)
    beside = (quarters[:, None] + np.concatenate([-closer, [0.0], closer])).ravel()
    steps = np.linspace(first, last, math.ceil(2 * FAN_RAD / _REACH_STEP_RAD) + 1)
    angles = np.unique(np.concatenate([steps, beside]))
    return np.asarray(angles[(angles >= first) & (angles <= last)])


def _between(
    ghost: FloatArray, angles: FloatArray, start: FloatArray, end: FloatArray
) -> BaseGeometry:
    """The surface between two radii on each ray, one polygon for every run of rays with one."""
    pieces: list[BaseGeometry] = []
    present = np.flatnonzero(end > start)
    for run in np.split(present, np.flatnonzero(np.diff(present) > 1) + 1):
        if run.size == 0:
            continue
        # the run reaches to its neighbours, where the stretch has shrunk to nothing
        rays = np.arange(max(run[0] - 1, 0), min(run[-1] + 2, len(angles)))
        inner = np.minimum(start[rays], end[rays])
        outer = polar(ghost, angles[rays], np.maximum(end[rays], inner))
        if len(rays) > 1:
            back = polar(ghost, angles[rays][::-1], inner[::-1])
            ring = np.concatenate([outer, back if inner.any() else ghost[None, :]])
            pieces.append(_sound(ring))
    return shapely.union_all(pieces) if len(pieces) != 1 else pieces[0]


def _sound(ring: FloatArray) -> BaseGeometry:
    """A polygon of the ring; where the ring touches itself, the polygons that it encloses."""
    shape = Polygon(ring)
    if shapely.is_valid(shape):
        return shape
    return shapely.union_all([surfaces(shapely.make_valid(shape))])


def surfaces(shape: BaseGeometry) -> BaseGeometry:
    """The shape without lines, points and slivers, which are rounding and no places."""
    if shape.geom_type == "Polygon":
        return shape if shape.area >= LEAST_AREA_MM2 else _NOTHING
    if shape.is_empty:
        return _NOTHING
    parts = shapely.get_parts(shape)
    kept = parts[(shapely.get_type_id(parts) == _POLYGON) & (shapely.area(parts) >= LEAST_AREA_MM2)]
    if len(kept) == 0:
        return _NOTHING
    return kept[0] if len(kept) == 1 else shapely.multipolygons(kept)


def ghost_and_back(ghost_mm: ArrayLike, object_mm: ArrayLike) -> tuple[FloatArray, float]:
    """The ghost ball as an array, and the direction straight behind it."""
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    back = ghost - np.asarray(object_mm, dtype=np.float64)
    return ghost, math.atan2(back[1], back[0])
