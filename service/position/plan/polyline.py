"""A drawn route as a line with marks: places, directions and rails by the way run so far."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.table import FROZEN_INSET_MM, PointMm, Table

RAIL_SLACK_MM = 15.0
"""A corner of the route this near to where a ball touches a cushion is a rail contact."""


@dataclass(frozen=True, slots=True)
class Polyline:
    """A route of two points or more (table frame, mm); marks count from its start."""

    points: tuple[PointMm, ...]
    marks_mm: tuple[float, ...]
    """The mark of every point."""
    contacts: tuple[tuple[float, str], ...]
    """Mark and cushion of every rail contact, in order."""

    @classmethod
    def of(cls, points_mm: tuple[PointMm, ...], table: Table) -> Polyline:
        """The route through these points; inner corners at a cushion are rail contacts."""
        ways = [math.dist(a, b) for a, b in itertools.pairwise(points_mm)]
        marks = tuple(itertools.accumulate(ways, initial=0.0))
        contacts = []
        for mark, point in list(zip(marks, points_mm, strict=True))[1:-1]:
            rail = _rail_at(point, table)
            if rail is not None:
                contacts.append((mark, rail))
        return cls(points_mm, marks, tuple(contacts))

    @property
    def way_mm(self) -> float:
        """Length of the whole route."""
        return self.marks_mm[-1]

    @property
    def rails(self) -> tuple[str, ...]:
        """The cushions touched, in order."""
        return tuple(rail for _, rail in self.contacts)

    def legs(self) -> Iterator[tuple[float, float, tuple[PointMm, PointMm]]]:
        """Mark of its start, length and ends of every straight part."""
        for i, ends in enumerate(itertools.pairwise(self.points)):
            yield self.marks_mm[i], self.marks_mm[i + 1] - self.marks_mm[i], ends

    def ahead(self, mark_mm: float) -> FloatArray:
        """Unit vector of the way at a mark; past the end that of the last part."""
        i = min(max(bisect.bisect_right(self.marks_mm, mark_mm) - 1, 0), len(self.points) - 2)
        way = np.asarray(self.points[i + 1]) - np.asarray(self.points[i])
        return np.asarray(way / float(np.hypot(*way)))

    def left(self, mark_mm: float) -> FloatArray:
        """Unit vector to the left of the way at a mark."""
        x, y = self.ahead(mark_mm)
        return np.array([-y, x])

    def at(self, marks_mm: FloatArray) -> FloatArray:
        """Places at marks (N,), (N, 2); past the end straight on."""
        marks = np.asarray(marks_mm, dtype=np.float64)
        points = np.asarray(self.points)
        places = np.stack([np.interp(marks, self.marks_mm, points[:, i]) for i in (0, 1)], axis=-1)
        beyond = np.maximum(marks - self.way_mm, 0.0)
        return np.asarray(places + beyond[:, None] * self.ahead(self.way_mm))

    def handedness(self, mark_mm: float) -> float:
        """1 while the way lies as it started, −1 after an odd number of rail contacts."""
        touched = sum(mark < mark_mm for mark, _ in self.contacts)
        return -1.0 if touched % 2 else 1.0


def _rail_at(point_mm: PointMm, table: Table) -> str | None:
    x, y = point_mm
    gaps = {"head": x, "foot": table.length_mm - x, "right": y, "left": table.width_mm - y}
    rail = min(gaps, key=lambda name: gaps[name])
    return rail if gaps[rail] <= FROZEN_INSET_MM + RAIL_SLACK_MM else None
