"""The line along which the cue ball arrives, and a miss split along and across it.

A still shows where the cue ball stopped, not how it came. Until the arrival is seen the line is
the planned one: straight from where the cue ball stood when it touched the ball to pot (that
ball's ghost ball) to the zone's wanted spot. Without a ball to pot it starts where the cue ball
lay before the shot.
"""

from __future__ import annotations

import numpy as np

from calibration.table import PointMm, Table
from vision.layout import Layout

from .cut import ghost_ball_mm
from .intent import Intent
from .zone import LandingZone

LEAST_WAY_MM = 1.0
"""A shorter way has no direction worth the name."""


def planned_line(
    before: Layout, intent: Intent, table: Table, zone: LandingZone
) -> tuple[PointMm, PointMm] | None:
    """Start and end (the wanted spot) of the planned arrival line, mm; None where unknown."""
    start = _start_mm(before, intent, table)
    if start is None or zone.wanted_mm is None:
        return None
    if np.hypot(zone.wanted_mm[0] - start[0], zone.wanted_mm[1] - start[1]) < LEAST_WAY_MM:
        return None
    return (start, zone.wanted_mm)


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


def _start_mm(before: Layout, intent: Intent, table: Table) -> PointMm | None:
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
