"""A landing zone drawn by the player instead of limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field
from shapely.geometry import Polygon

from calibration import strict
from calibration.table import PointMm
from service.position.errors import IntentError

LARGEST_RADIUS_MM = 5000.0
"""More than any table's diagonal."""
MOST_CORNERS = 500
"""More than a finger draws."""
Radius = Annotated[
    float,
    Field(
        strict=True,
        gt=0,
        le=LARGEST_RADIUS_MM,
        description=f"a radius above 0 and up to {LARGEST_RADIUS_MM:g} mm",
    ),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnZone:
    """A landing zone drawn by the player: one polygon or one circle (table frame, mm)."""

    polygon_mm: tuple[PointMm, ...] | None = None
    circle_mm: tuple[float, float, Radius] | None = None
    """Centre x, y and radius."""

    def __post_init__(self) -> None:
        strict.check(self, label="zone", error=IntentError, remedy="Draw it again.")
        if (self.polygon_mm is None) == (self.circle_mm is None):
            raise IntentError(
                "zone: got both or neither of polygon_mm and circle_mm; allowed: exactly one. "
                "Draw one shape."
            )
        if self.circle_mm is not None:
            return
        corners = self.polygon_mm or ()
        if len(corners) > MOST_CORNERS:
            raise IntentError(
                f"zone.polygon_mm: got {len(corners)} points; allowed: 3 or more points, up to "
                f"{MOST_CORNERS}. Draw it with fewer."
            )
        if len(corners) < 3:
            raise IntentError(
                f"zone.polygon_mm: got {[list(p) for p in corners]}; allowed: "
                "3 or more points. Draw it again."
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
    def from_dict(cls, data: Any, *, path: str = "zone") -> DrawnZone:
        """Inverse of ``to_dict``; error texts start with ``zone``."""
        return strict.build(
            cls,
            data,
            path=path,
            label="zone",
            error=IntentError,
            remedy="Correct it.",
            closed=True,
        )
