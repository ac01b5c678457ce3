"""A landing zone drawn by the player instead of limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shapely.geometry import Polygon

from calibration.table import PointMm
from service.position.errors import IntentError

from .fields import numbers, points

LARGEST_RADIUS_MM = 5000.0
"""More than any table's diagonal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnZone:
    """A landing zone drawn by the player: one polygon or one circle (table frame, mm)."""

    polygon_mm: tuple[PointMm, ...] | None = None
    circle_mm: tuple[float, float, float] | None = None
    """Centre x, y and radius."""

    def __post_init__(self) -> None:
        if (self.polygon_mm is None) == (self.circle_mm is None):
            raise IntentError(
                "zone: got both or neither of polygon_mm and circle_mm; allowed: exactly one. "
                "Draw one shape."
            )
        if self.circle_mm is not None:
            finite = all(map(math.isfinite, self.circle_mm))
            if not (finite and 0 < self.circle_mm[2] <= LARGEST_RADIUS_MM):
                raise IntentError(
                    f"zone.circle_mm: got {list(self.circle_mm)}; allowed: x, y and a radius "
                    f"above 0 and up to {LARGEST_RADIUS_MM:g}, all finite mm. Draw it again."
                )
            return
        corners = self.polygon_mm or ()
        if len(corners) < 3 or not all(math.isfinite(v) for point in corners for v in point):
            raise IntentError(
                f"zone.polygon_mm: got {[list(p) for p in corners]}; allowed: "
                "3 or more finite points. Draw it again."
            )
        shape = Polygon(corners)
        if not shape.is_valid or shape.area <= 0:
            raise IntentError(
                f"zone.polygon_mm: got {[list(p) for p in corners]}; allowed: an outline that "
                "encloses a surface and does not cross itself. Draw it again."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in the intent's ``zone``."""
        if self.circle_mm is not None:
            return {"circle_mm": list(self.circle_mm)}
        return {"polygon_mm": [list(point) for point in self.polygon_mm or ()]}

    @classmethod
    def from_dict(cls, data: Any) -> DrawnZone:
        """Inverse of ``to_dict``; error texts start with ``zone``."""
        if not isinstance(data, Mapping) or set(data) - {"polygon_mm", "circle_mm"}:
            raise IntentError(
                f'zone: got {data!r}; allowed: {{"polygon_mm": [[x, y], …]}} or '
                '{"circle_mm": [x, y, radius]}. Correct it.'
            )
        polygon, circle = data.get("polygon_mm"), data.get("circle_mm")
        corners = None if polygon is None else points(polygon, "zone.polygon_mm")
        ring = None
        if circle is not None:
            x, y, radius = numbers(circle, 3, "zone.circle_mm")
            ring = (x, y, radius)
        return cls(polygon_mm=corners, circle_mm=ring)
