"""Lengths and places as a person reads them: millimetres, inches or diamonds, all said here."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from calibration.lengths import INCH_MM
from calibration.table import BALL_DIAMETER_MM, NAMED_SURFACES_MM, PointMm, Table

from .plain import NONE, signed

NO_SIDE_MM = 0.5
"""Less than this is neither long nor short, left nor right."""
LONG_SHORT = ("long", "short")
LEFT_RIGHT = ("left", "right")
FOOT_HEAD = ("the foot", "the head")
SIDES = ("side left", "side right")
"""Ends of the table's own axes; the sides by their pockets."""


class Units(StrEnum):
    """What lengths are shown in."""

    MM = "mm"
    INCHES = "inches"
    DIAMONDS = "diamonds"


_SIGNS = {Units.MM: "mm", Units.INCHES: "in", Units.DIAMONDS: "diamonds"}
_FINENESS = {Units.MM: (9.95, 1), Units.INCHES: (9.995, 2), Units.DIAMONDS: (0.0995, 3)}
"""From which size on the last of so many digits is left out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lengths:
    """Says lengths and places of one surface in one unit.

    Places in diamonds count eighths of the length and quarters of the width; a length in
    diamonds is in eighths of the surface's length, whichever way it runs.
    """

    units: Units = Units.MM
    surface_mm: tuple[float, float] = NAMED_SURFACES_MM["9ft"]

    @classmethod
    def on(cls, table: Table, units: Units = Units.MM) -> Lengths:
        """For one table."""
        return cls(units=units, surface_mm=table.surface_mm)

    @property
    def sign(self) -> str:
        """What stands behind a number: ``mm``, ``in`` or ``diamonds``."""
        return _SIGNS[self.units]

    def value(self, length_mm: float) -> float:
        """The length in the unit."""
        return length_mm / self.unit_mm

    def number(self, length_mm: float, *, fine: bool = False) -> str:
        """The bare number, as fine as readings are; ``fine`` for errors and measured places."""
        value = self.value(length_mm)
        if value == 0:
            return "0"
        rough_from, digits = _FINENESS[self.units]
        return f"{value:.{digits if fine or abs(value) < rough_from else digits - 1}f}"

    def small(self, length_mm: float) -> str:
        """A residual or a stated error, a digit finer than readings: ``0.52 mm``, ``0.020 in``."""
        return f"{self.value(length_mm):.{_FINENESS[self.units][1] + 1}f} {self.sign}"

    def within(self, length_mm: float) -> str:
        """A length rounded up, as what is promised must hold: ``1.3 mm``."""
        steps = 10 ** _FINENESS[self.units][1]
        rounded = math.ceil(self.value(length_mm) * steps) / steps
        return f"{rounded:.{_FINENESS[self.units][1]}f} {self.sign}"

    def change(self, length_mm: float) -> str:
        """The bare number with its sign: ``+1.5``."""
        return signed(self.value(length_mm), _FINENESS[self.units][1])

    @property
    def unit_mm(self) -> float:
        if self.units is Units.DIAMONDS:
            return self.surface_mm[0] / 8
        return INCH_MM if self.units is Units.INCHES else 1.0

    def number_or_none(self, length_mm: float | None) -> str:
        """The bare number, or a dash."""
        return NONE if length_mm is None else self.number(length_mm)

    def text(self, length_mm: float, *, fine: bool = False) -> str:
        """``84 mm``, ``3.31 in`` or ``0.26 diamonds``."""
        return f"{self.number(length_mm, fine=fine)} {self.sign}"

    def between(self, low_mm: float, high_mm: float) -> str:
        """``28 to 78 mm``."""
        return f"{self.number(low_mm)} to {self.text(high_mm)}"

    def area(self, area_mm2: float) -> str:
        """``1012 cm²``, ``157 sq in`` or ``1.00 square diamonds``."""
        if self.units is Units.MM:
            area = area_mm2 / 100
            return f"{area:.0f} cm²" if area >= 10 else f"{area:.1f} cm²"
        area = area_mm2 / self.unit_mm**2
        if self.units is Units.INCHES:
            return f"{area:.0f} sq in"
        return f"{area:.2f} square diamonds"

    def coordinates(self, place_mm: PointMm) -> tuple[str, str]:
        """x and y as bare numbers."""
        if self.units is Units.DIAMONDS:
            x, y = diamonds(self.surface_mm, place_mm).split(", ")
        else:
            x, y = (self.number(value, fine=True) for value in place_mm)
        return x, y

    def place(self, place_mm: PointMm, *, fine: bool = False) -> str:
        """``1750, 700 mm``; in diamonds from the head end and the lower long cushion."""
        if self.units is Units.DIAMONDS:
            return f"{diamonds(self.surface_mm, place_mm)} diamonds"
        x, y = (self.number(value, fine=fine) for value in place_mm)
        return f"{x}, {y} {self.sign}"

    def beside(self, place_mm: PointMm) -> str:
        """The place in diamonds, to stand beside another unit; empty where that is the unit."""
        if self.units is Units.DIAMONDS:
            return ""
        return f"{diamonds(self.surface_mm, place_mm)} diamonds"

    def sided(self, value_mm: float, ends: tuple[str, str], *, bare: bool = False) -> str:
        """``62 mm long``: + the first end, − the second; ``bare`` leaves the unit to a heading."""
        if abs(value_mm) < NO_SIDE_MM:
            return "0" if bare else f"neither {ends[0]} nor {ends[1]}"
        size = self.number(abs(value_mm)) if bare else self.text(abs(value_mm))
        return f"{size} {ends[0] if value_mm > 0 else ends[1]}"

    def off(self, along_mm: float | None, across_mm: float | None, *, bare: bool = False) -> str:
        """``62 mm long, 57 mm left``; empty where the split is not known."""
        if along_mm is None or across_mm is None:
            return ""
        along = self.sided(along_mm, LONG_SHORT, bare=bare)
        return f"{along}, {self.sided(across_mm, LEFT_RIGHT, bare=bare)}"

    def by_table(self, vector_mm: PointMm) -> str:
        """A vector by the table's own axes: ``41 mm toward the head, 94 mm toward side right``."""
        x, y = vector_mm
        return ", ".join(
            f"{self.text(abs(value))} toward {ends[0] if value > 0 else ends[1]}"
            for value, ends in ((x, FOOT_HEAD), (y, SIDES))
            if abs(value) >= NO_SIDE_MM
        )

    def split(self, length_mm: float, along_mm: float | None, across_mm: float | None) -> str:
        """A distance with its two sides, bare: ``103: 72 short, 73 left``, or the distance."""
        sides = self.off(along_mm, across_mm, bare=True)
        number = self.number(length_mm)
        return f"{number}: {sides}" if sides and length_mm >= NO_SIDE_MM else number


MILLIMETRES = Lengths()


def ball_widths(length_mm: float) -> str:
    """A length in ball widths: ``1.5 ball widths``."""
    return f"{length_mm / BALL_DIAMETER_MM:.1f} ball widths"


def diamonds(surface_mm: tuple[float, float], place_mm: PointMm) -> str:
    """A place in diamonds: ``3.10, 1.42``."""
    return f"{place_mm[0] / (surface_mm[0] / 8):.2f}, {place_mm[1] / (surface_mm[1] / 4):.2f}"
