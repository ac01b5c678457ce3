"""The gaps that a route passes: how much room the cue ball has on either side, and of what."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, PointMm, Table
from service.position.shot.path import EDGE_MM, SIGMAS
from vision.layout import Ball

from .polyline import Polyline

GAP_MOST_MM = 3 * BALL_DIAMETER_MM
"""A ball further off the route than this makes no gap."""
CUSHION = "cushion"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """What lies left and right of the route where it passes a ball (mm).

    Room is how far the cue ball's centre may move to that side before it touches.
    """

    at_mm: float
    """Mark on the route, from its start."""
    left: str
    """The ball on the left, or ``cushion``."""
    left_mm: float
    right: str
    right_mm: float
    uncertainty_mm: float
    """1.96 standard deviations of the nearer side's ball."""

    @property
    def nearest(self) -> str:
        """What is nearer."""
        name = self.left if self.left_mm <= self.right_mm else self.right
        return name if name == CUSHION else f"ball {name}"

    @property
    def room_mm(self) -> float:
        """Room to the nearer side; negative where the route runs into it."""
        return min(self.left_mm, self.right_mm)

    @property
    def width_mm(self) -> float:
        """From edge to edge of what lies on either side."""
        return self.left_mm + self.right_mm + BALL_DIAMETER_MM

    @property
    def state(self) -> str:
        """``open``, ``blocked`` or ``too close to call``."""
        if self.room_mm >= self.uncertainty_mm - EDGE_MM:
            return "open"
        return "blocked" if self.room_mm <= -self.uncertainty_mm else "too close to call"

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, rooms also in ball widths."""
        return {
            "at_mm": self.at_mm,
            "left": self.left,
            "left_mm": self.left_mm,
            "right": self.right,
            "right_mm": self.right_mm,
            "room_mm": self.room_mm,
            "room_balls": self.room_mm / BALL_DIAMETER_MM,
            "width_mm": self.width_mm,
            "width_balls": self.width_mm / BALL_DIAMETER_MM,
            "uncertainty_mm": self.uncertainty_mm,
            "state": self.state,
        }


def gaps_on(line: Polyline, balls: Sequence[Ball], table: Table) -> tuple[Gap, ...]:
    """Every gap in the order of the way: one where the route passes a ball nearest."""
    marks: list[float] = []
    for ball in balls:
        marks += _passings(line, ball.centre_mm)
    return tuple(_gap(line, mark, balls, table) for mark in sorted(marks))


def _passings(line: Polyline, centre_mm: PointMm) -> list[float]:
    """Marks at which the route is nearest to a ball that it passes or runs into."""
    marks: list[float] = []
    for start, way, (a, b) in line.legs():
        along = (
            (centre_mm[0] - a[0]) * (b[0] - a[0]) + (centre_mm[1] - a[1]) * (b[1] - a[1])
        ) / way
        on = min(max(along, 0.0), way)
        apart = math.dist(
            centre_mm, (a[0] + on / way * (b[0] - a[0]), a[1] + on / way * (b[1] - a[1]))
        )
        passes = 0 < along < way or apart < BALL_DIAMETER_MM
        if passes and apart <= BALL_DIAMETER_MM + GAP_MOST_MM:
            marks.append(start + on)
    return marks


def _gap(line: Polyline, mark: float, balls: Sequence[Ball], table: Table) -> Gap:
    place, ahead, left = line.at(np.array([mark]))[0], line.ahead(mark), line.left(mark)
    sides = []
    for sideways in (left, -left):
        found = [(_to_cushion_mm(place, sideways, table), CUSHION, 0.0)]
        for ball in balls:
            off = np.asarray(ball.centre_mm) - place
            along, aside = float(off @ ahead), float(off @ sideways)
            own_side = aside > 0 or (aside == 0 and sideways is left)
            if abs(along) < BALL_DIAMETER_MM and own_side:
                room = aside - math.sqrt(BALL_DIAMETER_MM**2 - along**2)
                spread = math.sqrt(max(float(sideways @ np.asarray(ball.cov_mm2) @ sideways), 0.0))
                found.append((room, ball.id, SIGMAS * spread))
        sides.append(min(found))
    (left_mm, left_name, left_spread), (right_mm, right_name, right_spread) = sides
    return Gap(
        at_mm=mark,
        left=left_name,
        left_mm=left_mm,
        right=right_name,
        right_mm=right_mm,
        uncertainty_mm=left_spread if left_mm <= right_mm else right_spread,
    )


def _to_cushion_mm(place: FloatArray, sideways: FloatArray, table: Table) -> float:
    """How far sideways until the ball touches a cushion; 0 where it does already."""
    length_mm, width_mm = table.surface_mm
    ways = [math.inf]
    for at, step, side in (
        (float(place[0]), float(sideways[0]), length_mm),
        (float(place[1]), float(sideways[1]), width_mm),
    ):
        if step > 1e-12:
            ways.append((side - FROZEN_INSET_MM - at) / step)
        elif step < -1e-12:
            ways.append((FROZEN_INSET_MM - at) / step)
    return max(min(ways), 0.0)
