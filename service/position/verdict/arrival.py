"""The line along which the cue ball arrives, and a miss split along and across it.

A still shows where the cue ball stopped, not how it came. The direction is, in this order:

- ``video``: seen, the last place it came from;
- ``route``: planned, the last stretch of the intent's route;
- ``cut``: between the tangent line and natural roll of the cut just played, a stated range. Only
  where the pot was made and the stop lies in that range from the contact with no ball between:
  after a cushion, with draw or with much side spin the cut says nothing;
- else unknown. A straight line to the wanted spot is no arrival: it may lead through a ball.

A split along a range is made by its middle, and only where the range is no wider than
``WIDEST_RANGE_DEG``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from calibration.table import BALL_DIAMETER_MM, PointMm, Table
from service.position.geometry import nearest_on_segment
from service.position.meant.intent import Intent
from service.position.shot.cut import ghost_ball_mm
from service.position.shot.deflection import leaving_range_deg
from service.position.zone.landing import LandingZone
from vision.layout import Layout

LEAST_WAY_MM = 1.0
"""A shorter way has no direction worth the name."""
WIDEST_RANGE_DEG = 30.0
"""A split by the middle of a wider range is no split: at ±15° a quarter of the one error already
passes for the other (sin 15° = 0.26)."""
RANGE_SLACK_DEG = 10.0
"""A stop this far outside the range still came by it: the cue ball runs a curve until it rolls,
and its way starts a little beside the ghost ball."""
LEAST_RUN_MM = BALL_DIAMETER_MM
"""A stop nearer than this to the contact shows no direction."""
VIDEO, ROUTE, CUT = "video", "route", "cut"


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """The direction in which the cue ball came to its stop, and where it is known from."""

    line_mm: tuple[PointMm, PointMm]
    """Start and end of its last straight way; for a range, its middle from the contact."""
    source: str
    """``video``, ``route`` or ``cut``."""
    range_deg: tuple[float, float] | None = None
    """Bearings between which it came, counter-clockwise from the table's +x; None for one."""

    @property
    def word(self) -> str | None:
        """``seen``, ``planned``, or None where only the cut tells."""
        return {VIDEO: "seen", ROUTE: "planned"}.get(self.source)

    @property
    def splits(self) -> bool:
        """Whether a miss can be split along and across it."""
        return self.range_deg is None or self.width_deg <= WIDEST_RANGE_DEG

    @property
    def width_deg(self) -> float:
        """How wide the range is, 0 for one direction."""
        return 0.0 if self.range_deg is None else self.range_deg[1] - self.range_deg[0]


def arrival_of(
    before: Layout,
    after: Layout,
    intent: Intent,
    table: Table,
    *,
    seen_from_mm: PointMm | None = None,
) -> Arrival | None:
    """How the cue ball came to where it lies in ``after``; None where nothing tells."""
    cue = after.ball("cue")
    if seen_from_mm is not None and cue is not None:
        line = way_mm(seen_from_mm, cue.centre_mm)
        if line is not None:
            return Arrival(line_mm=line, source=VIDEO)
    if intent.route_mm is not None:
        line = way_mm(*intent.route_mm[-2:])
        return None if line is None else Arrival(line_mm=line, source=ROUTE)
    return None if cue is None else _by_the_cut(before, after, intent, table, cue.centre_mm)


def _by_the_cut(
    before: Layout, after: Layout, intent: Intent, table: Table, stop_mm: PointMm
) -> Arrival | None:
    if intent.pot is None or after.ball(intent.pot) is not None:
        return None
    found = cut_range_deg(before, intent, table)
    ghost = start_mm(before, intent, table)
    if found is None or ghost is None or not leads_to(found, ghost, stop_mm):
        return None
    if _runs_into_a_ball(ghost, stop_mm, after):
        return None
    run, middle = math.dist(ghost, stop_mm), math.radians(sum(found) / 2)
    end = (ghost[0] + run * math.cos(middle), ghost[1] + run * math.sin(middle))
    return Arrival(line_mm=(ghost, end), source=CUT, range_deg=found)


def cut_range_deg(before: Layout, intent: Intent, table: Table) -> tuple[float, float] | None:
    """Bearings between which the cut to be played sends the cue ball; None where unknown."""
    cue = before.ball("cue")
    ball = None if intent.pot is None else before.ball(intent.pot)
    ghost = start_mm(before, intent, table)
    if cue is None or ball is None or intent.pocket is None or ghost is None:
        return None
    line = ((ball.x_mm - ghost[0]) / BALL_DIAMETER_MM, (ball.y_mm - ghost[1]) / BALL_DIAMETER_MM)
    return leaving_range_deg(cue.centre_mm, ghost, line)


def leads_to(range_deg: tuple[float, float], start_mm: PointMm, place_mm: PointMm) -> bool:
    """Whether a place lies in the range of bearings from the start, or little outside it."""
    if math.dist(start_mm, place_mm) < LEAST_RUN_MM:
        return False
    bearing = math.degrees(math.atan2(place_mm[1] - start_mm[1], place_mm[0] - start_mm[0]))
    middle, half = sum(range_deg) / 2, (range_deg[1] - range_deg[0]) / 2
    off = abs((bearing - middle + 180.0) % 360.0 - 180.0)
    return off <= half + RANGE_SLACK_DEG


def _runs_into_a_ball(start_mm: PointMm, stop_mm: PointMm, after: Layout) -> bool:
    others = [ball.centre_mm for ball in after.balls if ball.id != "cue"]
    if not others:
        return False
    _, near = nearest_on_segment(np.asarray(others), np.asarray(start_mm), np.asarray(stop_mm))
    # a ball that the cue ball came to rest against ends its way and does not bar it
    at_the_end = np.hypot(*(np.asarray(others) - np.asarray(stop_mm)).T) <= near + 1.0
    return bool(((near < BALL_DIAMETER_MM) & ~at_the_end).any())


def split_warnings(arrival: Arrival | None) -> list[str]:
    """How far the split of a miss can be trusted."""
    if arrival is None:
        return ["no arrival line is known: the miss is not split along and across"]
    if arrival.source != CUT:
        return []
    how = "split by its middle" if arrival.splits else "too wide to split the miss by"
    return [
        f"no route was given: the cut tells the arrival to a range of {arrival.width_deg:.0f}° "
        f"({how}; allowed {WIDEST_RANGE_DEG:.0f}°)"
    ]


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
