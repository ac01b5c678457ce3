"""The line along which the cue ball arrives, and a miss split along and across it.

A still shows where the cue ball stopped, not how it came. Until the arrival is seen the line is
the planned one: straight from where the cue ball stood when it touched the ball to pot (that
ball's ghost ball) to the zone's wanted spot. Without a ball to pot it starts where the cue ball
lay before the shot. An intent with a route arrives along the route's last stretch.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from calibration.table import PointMm, Table
from service.position.meant.intent import Intent
from service.position.shot.cut import ghost_ball_mm
from service.position.zone.landing import LandingZone
from vision.layout import Layout

LEAST_WAY_MM = 1.0
"""A shorter way has no direction worth the name."""


def planned_line(
    before: Layout, intent: Intent, table: Table, zone: LandingZone
) -> tuple[PointMm, PointMm] | None:
    """Start and end (the wanted spot) of the planned arrival line, mm; None where unknown."""
    if intent.route_mm is not None:
        return way_mm(*intent.route_mm[-2:])
    start = start_mm(before, intent, table)
    if start is None or zone.wanted_mm is None:
        return None
    return way_mm(start, zone.wanted_mm)


def way_mm(start_mm: PointMm, end_mm: PointMm) -> tuple[PointMm, PointMm] | None:
    """A line from start to end; None where they are too close to give a direction."""
    if np.hypot(end_mm[0] - start_mm[0], end_mm[1] - start_mm[1]) < LEAST_WAY_MM:
        return None
    return (start_mm, end_mm)


def zone_widths_mm(zone: LandingZone, line_mm: tuple[PointMm, PointMm]) -> tuple[float, float]:
    """How far the zone reaches without a gap along and across the line, through its wanted spot."""
    assert zone.wanted_mm is not None
    spot = np.asarray(zone.wanted_mm)
    tx, ty = _direction(line_mm)
    left, low, right, high = zone.shape.bounds
    far = right - left + high - low
    widths = []
    for way in (np.array([tx, ty]), np.array([-ty, tx])):
        chord = zone.shape & LineString([spot - far * way, spot + far * way])
        near = min(shapely.get_parts(chord), key=lambda part: shapely.distance(part, Point(spot)))
        widths.append(float(near.length))
    return widths[0], widths[1]


def along_mm(vector_mm: PointMm, line_mm: tuple[PointMm, PointMm]) -> float:
    """Part of the vector along the line, + onward (long)."""
    (tx, ty) = _direction(line_mm)
    return vector_mm[0] * tx + vector_mm[1] * ty + 0.0


def across_mm(vector_mm: PointMm, line_mm: tuple[PointMm, PointMm]) -> float:
    """Part of the vector across the line, + to the left of someone looking along it."""
    (tx, ty) = _direction(line_mm)
    return tx * vector_mm[1] - ty * vector_mm[0] + 0.0


def _direction(line_mm: tuple[PointMm, PointMm]) -> PointMm:
    (ax, ay), (bx, by) = line_mm
    size = float(np.hypot(bx - ax, by - ay))
    return ((bx - ax) / size, (by - ay) / size)


def start_mm(before: Layout, intent: Intent, table: Table) -> PointMm | None:
    """Where the cue ball's way after the shot begins: at the ghost ball of the ball to pot."""
    if intent.pot is None:
        cue = before.ball("cue")
        return None if cue is None else cue.centre_mm
    ball = before.ball(intent.pot)
    if ball is None:
        return None
    if intent.pocket is None:
        return ball.centre_mm
    ghost = ghost_ball_mm(ball.centre_mm, table.pocket(intent.pocket).aim_mm)
    return (float(ghost[0]), float(ghost[1]))
