"""A planned route: the gaps it passes, where a stop on it would be hooked, what it forgives.

The route is the player's own: a polyline of the cue ball's centre from its contact with the ball
to pot to where it is meant to stop, rail contacts as corners. Spin and rebound are not predicted:
whether the cue ball can be made to run so is the player's business. The ball to pot is taken for
gone, all others lie where they are.

The chance of stopping inside varies two things about the drawn route: how far the cue ball runs
(a share of the way) and its direction after contact (degrees). A line that is off by an angle
drifts off the route in proportion to the way run, and changes its side at every rail, as a
mirrored way does. A cue ball that drifts further than a gap allows counts as not arriving.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from scipy.special import ndtri
from shapely.geometry import LineString

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, PointMm, Table
from service.position.errors import IntentError
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.meant.settings import ROUTE_SETTINGS
from service.position.shot.hooked import hooked_word, visible_shares
from service.position.verdict.arrival import start_mm
from service.position.zone.landing import LandingZone, landing_zone
from vision.layout import Ball, Layout

from .gaps import Gap, gaps_on
from .polyline import Polyline

STOP_STEP_MM = 5.0
"""Spacing of the stops that are tried along a route."""
_SPEEDS, _LINES = 61, 41
START_SLACK_MM = BALL_DIAMETER_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A part of the route, counted from its start along the way (mm)."""

    from_mm: float
    to_mm: float
    word: str

    @property
    def length_mm(self) -> float:
        """How long it is."""
        return self.to_mm - self.from_mm

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object."""
        return {"from_mm": self.from_mm, "to_mm": self.to_mm, "is": self.word}


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteReport:
    """What a planned route meets and forgives (mm, chances 0 … 1)."""

    route_mm: tuple[PointMm, ...]
    way_mm: float
    """Its whole length."""
    rails: tuple[str, ...]
    """The cushions it touches, in order: ``head``, ``foot``, ``left`` or ``right``."""
    gaps: tuple[Gap, ...]
    hooked: tuple[Stretch, ...]
    """Where a stop would be hooked or partly hooked from the next ball; empty without one."""
    in_zone: tuple[Stretch, ...]
    """The stretches inside the landing zone."""
    ends_in_zone: bool
    chance: float | None
    """Of stopping inside the zone; None where there is no zone."""
    chance_through: float
    """Of passing every gap up to the planned stop."""
    short_mm: float | None
    """How much shorter the cue ball may run than planned and still be inside; None if outside."""
    long_mm: float | None
    zone: LandingZone
    warnings: tuple[str, ...]
    assumed: tuple[str, ...] = ()
    """The player's settings behind the chances that are starting values."""

    @property
    def in_zone_mm(self) -> float:
        """Length of all stretches inside the zone."""
        return sum(stretch.length_mm for stretch in self.in_zone)

    @property
    def tightest(self) -> Gap | None:
        """The gap with the least room."""
        return min(self.gaps, key=lambda gap: gap.room_mm, default=None)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object."""
        return {
            "route_mm": [list(point) for point in self.route_mm],
            "way_mm": self.way_mm,
            "rails": list(self.rails),
            "gaps": [gap.to_dict() for gap in self.gaps],
            "hooked": [stretch.to_dict() for stretch in self.hooked],
            "in_zone": [stretch.to_dict() for stretch in self.in_zone],
            "in_zone_mm": self.in_zone_mm,
            "ends_in_zone": self.ends_in_zone,
            "chance": self.chance,
            "chance_through": self.chance_through,
            "short_mm": self.short_mm,
            "long_mm": self.long_mm,
            "zone_empty": self.zone.is_empty,
            "warnings": list(self.warnings),
            "assumed": list(self.assumed),
        }


def report_route(
    layout: Layout, intent: Intent, table: Table, *, player: Player | None = None
) -> RouteReport:
    """What the route of ``intent`` meets on the layout before the shot."""
    intent = intent.named_on(layout)
    intent.check_on(layout, table)
    if intent.route_mm is None:
        raise IntentError(
            "route_mm: missing; allowed: 2 or more points [x, y] in mm, from where the cue ball "
            "leaves the ball to pot to where it should stop. Draw the route."
        )
    player = player or Player()
    zone = landing_zone(layout, intent, table, player=player)
    line = Polyline.of(intent.route_mm, table)
    balls = [ball for ball in layout.balls if ball.id not in ("cue", intent.pot)]
    gaps = gaps_on(line, balls, table)
    inside = _inside(line, zone)
    end = np.asarray(intent.route_mm[-1])
    ends_in = bool(zone.contains(end))
    last = next((s for s in inside if s.from_mm - 1e-6 <= line.way_mm <= s.to_mm + 1e-6), None)
    chance, through = _chances(line, zone, gaps, player)
    return RouteReport(
        route_mm=intent.route_mm,
        way_mm=line.way_mm,
        rails=line.rails,
        gaps=gaps,
        hooked=_hooked(line, intent, layout, balls),
        in_zone=inside,
        ends_in_zone=ends_in,
        chance=None if zone.is_empty else chance,
        chance_through=through,
        short_mm=line.way_mm - last.from_mm if ends_in and last else None,
        long_mm=_run_on_mm(line, zone) if ends_in else None,
        zone=zone,
        warnings=tuple(_warnings(line, zone, gaps, intent, layout, table)),
        assumed=tuple(player.assumed(ROUTE_SETTINGS)),
    )


def most_forgiving(reports: Sequence[RouteReport]) -> int | None:
    """Index of the route with the greatest chance of stopping inside; None where none has one."""
    chances = [(-1.0 if report.chance is None else report.chance) for report in reports]
    best = int(np.argmax(chances)) if chances else 0
    return best if chances and chances[best] > 0 else None


def _inside(line: Polyline, zone: LandingZone) -> tuple[Stretch, ...]:
    """Stretches of the route inside the zone's outline, in order."""
    if zone.is_empty:
        return ()
    found: list[tuple[float, float]] = []
    for start, way, part in line.legs():
        for piece in shapely.get_parts(zone.shape & LineString(part)):
            if piece.geom_type == "LineString" and piece.length > 0:
                ends = sorted(math.dist(part[0], place) for place in piece.coords)
                found.append((start + ends[0], start + min(ends[-1], way)))
    found.sort()
    merged: list[tuple[float, float]] = []
    for begin, end in found:
        if merged and begin <= merged[-1][1] + 1e-6:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((begin, end))
    return tuple(Stretch(from_mm=a, to_mm=b, word="in the zone") for a, b in merged)


def _hooked(
    line: Polyline, intent: Intent, layout: Layout, balls: Sequence[Ball]
) -> tuple[Stretch, ...]:
    """Where a stop along the route would be hooked or partly hooked from the next ball."""
    target = None if intent.next is None else layout.ball(intent.next)
    if target is None:
        return ()
    others = [ball.centre_mm for ball in balls if ball.id != intent.next]
    marks = np.linspace(0.0, line.way_mm, math.ceil(line.way_mm / STOP_STEP_MM) + 1)
    shares = visible_shares(line.at(marks), target.centre_mm, others)
    words = [hooked_word(float(share)) for share in shares]
    found = []
    begin = 0
    for i in range(1, len(words) + 1):
        if i == len(words) or words[i] != words[begin]:
            if words[begin] != "no":
                word = "hooked" if words[begin] == "yes" else "partly hooked"
                found.append(
                    Stretch(from_mm=float(marks[begin]), to_mm=float(marks[i - 1]), word=word)
                )
            begin = i
    return tuple(found)


def _run_on_mm(line: Polyline, zone: LandingZone) -> float:
    """How far the cue ball may run on past the planned stop, straight ahead, within the zone."""
    end, ahead = line.at(np.array([line.way_mm]))[0], line.ahead(line.way_mm)
    left, low, right, high = zone.shape.bounds
    far = end + (right - left + high - low) * ahead
    pieces = shapely.get_parts(zone.shape & LineString([tuple(end), tuple(far)]))
    here = [p for p in pieces if shapely.distance(p, shapely.Point(end)) < 1e-6]
    return float(here[0].length) if here else 0.0


def _chances(
    line: Polyline, zone: LandingZone, gaps: Sequence[Gap], player: Player
) -> tuple[float, float]:
    """Chance of stopping in the zone, and of passing the gaps up to the planned stop."""
    speeds = 1 + player.speed_spread * ndtri((np.arange(_SPEEDS) + 0.5) / _SPEEDS)
    turns = np.radians(player.line_spread_deg) * ndtri((np.arange(_LINES) + 0.5) / _LINES)
    way = np.maximum(speeds, 0.0)[:, None] * line.way_mm
    drift = np.tan(turns)[None, :]
    passes = np.ones((_SPEEDS, _LINES), dtype=np.bool_)
    clear = np.ones((1, _LINES), dtype=np.bool_)
    for gap in gaps:
        aside = gap.at_mm * drift * line.handedness(gap.at_mm)
        through = (aside <= gap.left_mm) & (-aside <= gap.right_mm)
        clear &= through
        passes &= through | (way <= gap.at_mm)
    if zone.is_empty:
        return 0.0, float(clear.mean())
    stops = _stops(line, way, drift)
    return float((zone.contains(stops) & passes).mean()), float(clear.mean())


def _stops(line: Polyline, way: FloatArray, drift: FloatArray) -> FloatArray:
    """Places after so much way with so much drift, (speeds, lines, 2)."""
    marks = way[:, 0]
    left = np.stack([line.left(float(mark)) for mark in marks])
    off = marks[:, None] * drift * np.array([line.handedness(float(m)) for m in marks])[:, None]
    return np.asarray(line.at(marks)[:, None, :] + off[..., None] * left[:, None, :])


def _warnings(
    line: Polyline,
    zone: LandingZone,
    gaps: Sequence[Gap],
    intent: Intent,
    layout: Layout,
    table: Table,
) -> list[str]:
    out = []
    if zone.is_empty:
        out.append(f"no landing zone on this layout: {zone.emptied_why}")
    for gap in gaps:
        if gap.state != "open":
            out.append(f"the route meets {gap.nearest} after {gap.at_mm:.0f} mm: {gap.state}")
    start = start_mm(layout, intent, table)
    if start is not None and math.dist(start, line.points[0]) > START_SLACK_MM:
        out.append(
            f"the route starts {math.dist(start, line.points[0]):.0f} mm from where the cue ball "
            f"touches ball {intent.pot}, ({start[0]:.0f}, {start[1]:.0f}) mm"
        )
    return out
