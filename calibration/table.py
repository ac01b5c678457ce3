"""One parametric model of a pool table: surface, noses, sights, pockets, spots, rails.

Figures are millimetres in the table frame (DEVELOPERS.md, "Coordinates"). Defaults are the
standard equipment figures; every one can be set, because real tables differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from . import strict
from .errors import FileFormatError
from .lengths import LengthError, size_mm
from .strict import NotNegative

PointMm = tuple[float, float]

_REMEDY = "Measure it on the table and give it in mm (angles in degrees)."
SHORTEST_MM, LONGEST_MM = 500.0, 4500.0
"""Bounds of a surface's sides: no table is shorter or longer."""
BALL_DIAMETER_MM = 57.15
BALL_RADIUS_MM = BALL_DIAMETER_MM / 2
BALL_CENTRE_HEIGHT_MM = BALL_RADIUS_MM
FROZEN_INSET_MM = 27.5
"""Distance of a frozen ball's centre from the nose line: the nose meets it above its centre."""

NAMED_SURFACES_MM: Mapping[str, tuple[float, float]] = {
    "9ft": (2540.0, 1270.0),
    "pro8": (2336.8, 1168.4),
    "8ft": (2235.2, 1117.6),
    "7ft": (1981.2, 990.6),
}
POCKET_NAMES = ("head-left", "head-right", "side-left", "side-right", "foot-left", "foot-right")


class TableError(FileFormatError):
    """A table that cannot be: the text names the field, what was given and what is allowed."""

    code = "bad-table"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pocket:
    """A pocket's mouth: its two nose points and what follows from them (table frame, mm)."""

    name: str
    nose_points_mm: tuple[PointMm, PointMm]
    """Where the noses turn into the pocket; left one first as seen from the bed."""
    inward: PointMm
    """Unit vector from the bed into the pocket, square to the mouth line."""
    shelf_mm: float
    cut_deg: float
    """Horizontal angle between the nose line and the facing, inside the cushion."""

    @property
    def aim_mm(self) -> PointMm:
        """The aim point: the middle between the two nose points."""
        (ax, ay), (bx, by) = self.nose_points_mm
        return ((ax + bx) / 2, (ay + by) / 2)

    @property
    def mouth_mm(self) -> float:
        """Distance between the nose points."""
        (ax, ay), (bx, by) = self.nose_points_mm
        return math.hypot(bx - ax, by - ay)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of any 2:1 surface. All lengths in mm, all angles in degrees."""

    length_mm: NotNegative = 2540.0
    width_mm: NotNegative = 1270.0
    corner_mouth_mm: NotNegative = 114.3
    side_mouth_mm: NotNegative = 127.0
    corner_shelf_mm: NotNegative = 41.3
    side_shelf_mm: NotNegative = 4.8
    corner_cut_deg: NotNegative = 142.0
    side_cut_deg: NotNegative = 104.0
    nose_height_mm: NotNegative = 36.3
    rail_cap_height_mm: NotNegative = 44.0
    """Height of the rail cap, where the sights lie, above the bed."""
    sight_offset_mm: NotNegative = 93.7
    """From a nose line to the centres of its sights."""
    rail_width_mm: NotNegative = 140.0
    """From a nose line to the rail's outer edge."""
    cushion_width_mm: NotNegative = 50.0
    """From a nose line back to the rail cap's inner edge."""

    def __post_init__(self) -> None:
        strict.check(self, label="table", error=TableError, remedy=_REMEDY)
        if not SHORTEST_MM <= self.width_mm <= self.length_mm <= LONGEST_MM:
            raise TableError(
                f"table: got a surface of {self.length_mm:g}x{self.width_mm:g} mm; allowed: "
                f"{SHORTEST_MM:g} mm ≤ width ≤ length ≤ {LONGEST_MM:g} mm, nose to nose. Measure "
                "the surface again."
            )
        ratio = self.length_mm / self.width_mm
        if not 1.97 <= ratio <= 2.03:
            raise TableError(
                f"table: got a surface of {self.length_mm:g}x{self.width_mm:g} mm, ratio "
                f"{ratio:.3f}; allowed: twice as long as wide within 1.5 %. Give length first, "
                "measured from nose to nose."
            )
        for name in ("corner_mouth_mm", "side_mouth_mm"):
            if not BALL_DIAMETER_MM < getattr(self, name) < self.width_mm / 4:
                raise TableError(
                    f"table.{name}: got {getattr(self, name):g}; allowed: more than a ball "
                    f"({BALL_DIAMETER_MM} mm) and less than a quarter of the width. Measure the "
                    "mouth between the two nose points."
                )

    @classmethod
    def from_surface(cls, surface: str, **settings: float) -> Table:
        """Table from ``9ft``, ``pro8``, ``8ft``, ``7ft`` or ``LENGTHxWIDTH``, as in ``size_mm``.

        Raises:
            TableError: the surface is neither, or the table cannot be.
        """
        if surface in NAMED_SURFACES_MM:
            length_mm, width_mm = NAMED_SURFACES_MM[surface]
        else:
            try:
                length_mm, width_mm = size_mm(surface)
            except LengthError:
                raise TableError(
                    f"surface: got {surface!r}; allowed: {', '.join(NAMED_SURFACES_MM)} or "
                    "LENGTHxWIDTH in mm such as 2540x1270, or with a unit such as 100x50in. "
                    "Measure from nose to nose."
                ) from None
        return cls(length_mm=length_mm, width_mm=width_mm, **settings)

    @property
    def surface_mm(self) -> tuple[float, float]:
        """Length and width of the playing surface, nose to nose."""
        return (self.length_mm, self.width_mm)

    # -- pockets ---------------------------------------------------------------------------

    @property
    def pockets(self) -> tuple[Pocket, ...]:
        """The six pockets in the order of ``POCKET_NAMES``."""
        return tuple(self.pocket(name) for name in POCKET_NAMES)

    def pocket(self, name: str) -> Pocket:
        """The pocket called ``name``, left and right as seen from the head end.

        Raises:
            TableError: there is no pocket of that name.
        """
        if name not in POCKET_NAMES:
            raise TableError(
                f"pocket: got {name!r}; allowed: {', '.join(POCKET_NAMES)}. Left and right are "
                "as seen by a player at the head end who looks to the foot."
            )
        end, hand = name.split("-")
        y, down = (self.width_mm, -1.0) if hand == "left" else (0.0, 1.0)
        if end == "side":
            half = self.side_mouth_mm / 2
            a, b = (self.length_mm / 2 - half, y), (self.length_mm / 2 + half, y)
            inward = (0.0, -down)
            shelf_mm, cut_deg = self.side_shelf_mm, self.side_cut_deg
        else:
            leg = self.corner_mouth_mm / math.sqrt(2)
            x, along = (0.0, 1.0) if end == "head" else (self.length_mm, -1.0)
            a, b = (x, y + down * leg), (x + along * leg, y)
            inward = (-along / math.sqrt(2), -down / math.sqrt(2))
            shelf_mm, cut_deg = self.corner_shelf_mm, self.corner_cut_deg
        # left first for someone on the bed who looks into the pocket
        cross = inward[0] * (b[1] - a[1]) - inward[1] * (b[0] - a[0])
        points = (b, a) if cross > 0 else (a, b)
        return Pocket(
            name=name, nose_points_mm=points, inward=inward, shelf_mm=shelf_mm, cut_deg=cut_deg
        )

    # -- noses, sights, spots --------------------------------------------------------------

    @property
    def nose_segments_mm(self) -> Mapping[str, tuple[PointMm, PointMm]]:
        """The six cushions' nose lines between their pockets' nose points.

        Keys: ``head``, ``foot``, ``left-head``, ``left-foot``, ``right-head``, ``right-foot``.
        """
        leg = self.corner_mouth_mm / math.sqrt(2)
        half = self.side_mouth_mm / 2
        length, width, mid = self.length_mm, self.width_mm, self.length_mm / 2
        return {
            "head": ((0.0, leg), (0.0, width - leg)),
            "foot": ((length, leg), (length, width - leg)),
            "left-head": ((leg, width), (mid - half, width)),
            "left-foot": ((mid + half, width), (length - leg, width)),
            "right-head": ((leg, 0.0), (mid - half, 0.0)),
            "right-foot": ((mid + half, 0.0), (length - leg, 0.0)),
        }

    @property
    def sights_mm(self) -> Mapping[str, PointMm]:
        """The 18 sights' centres by name, for example ``left-3`` or ``head-2``.

        Long rails count eighths of the length from the head end (4, the side pocket, has
        none); short rails count quarters of the width from the right rail (y = 0) upward.
        """
        out: dict[str, PointMm] = {}
        off = self.sight_offset_mm
        for i in (1, 2, 3, 5, 6, 7):
            x = self.length_mm * i / 8
            out[f"right-{i}"] = (x, -off)
            out[f"left-{i}"] = (x, self.width_mm + off)
        for i in (1, 2, 3):
            y = self.width_mm * i / 4
            out[f"head-{i}"] = (-off, y)
            out[f"foot-{i}"] = (self.length_mm + off, y)
        return out

    @property
    def spots_mm(self) -> Mapping[str, PointMm]:
        """Head, centre and foot spot."""
        y = self.width_mm / 2
        return {
            "head": (self.length_mm / 4, y),
            "centre": (self.length_mm / 2, y),
            "foot": (self.length_mm * 3 / 4, y),
        }

    @property
    def strings_mm(self) -> Mapping[str, tuple[PointMm, PointMm]]:
        """Head, centre, foot and long string as segments between nose lines."""
        length, width = self.surface_mm
        out = {
            name: ((x, 0.0), (x, width))
            for name, x in (("head", length / 4), ("centre", length / 2), ("foot", length * 3 / 4))
        }
        out["long"] = ((0.0, width / 2), (length, width / 2))
        return out

    def diamonds(self, point_mm: PointMm) -> PointMm:
        """Table position in diamonds: X in eighths of the length, Y in quarters of the width."""
        return (point_mm[0] / (self.length_mm / 8), point_mm[1] / (self.width_mm / 4))

    def contains_ball(self, centre_mm: PointMm, *, slack_mm: float = 0.0) -> bool:
        """Whether a resting ball's centre can lie there: within the frozen inset ± slack."""
        inset = FROZEN_INSET_MM - slack_mm
        x, y = centre_mm
        return inset <= x <= self.length_mm - inset and inset <= y <= self.width_mm - inset

    # -- files -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, float]:
        """Plain JSON object, one key a field."""
        return {key: float(value) for key, value in asdict(self).items()}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "table") -> Table:
        """Inverse of ``to_dict``; errors name the field by its path."""
        return strict.build(
            cls,
            data,
            path=path,
            label="table",
            error=TableError,
            remedy=_REMEDY,
            closed=True,
            needed=strict.names_of(cls),
        )


def nearest_named(table: Table) -> tuple[str, Table]:
    """The named size nearest to a table as built, and a table of that size as a user tells it."""
    name = min(
        NAMED_SURFACES_MM, key=lambda name: abs(NAMED_SURFACES_MM[name][0] - table.length_mm)
    )
    return name, Table.from_surface(name)
