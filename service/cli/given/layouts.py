"""Stills and layouts to layouts on one table, for the commands that compare them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.errors import CalibrationError, FileFormatError, RestmarkError
from calibration.table import Table
from vision.layout import Layout

from .inputs import Entry
from .options import set_from

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from service.desk.readers import ReadStill
    from vision.name.taught import Taught

_SAME_SURFACE_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """The table that layouts lie on and, for stills, the calibration that reads them."""

    calibration: Calibration | None
    taught: Taught | None = None
    read: ReadStill | None = None
    """Reads the stills, which are a sequence."""

    @classmethod
    def open(cls, path: Path | None, ball_set: Path | None = None) -> Ground:
        """From a calibration file and a taught set's, or for layouts only."""
        if path is None:
            return cls(calibration=None)
        from calibration.kept.calibration import Calibration

        return cls.of(Calibration.read(path), ball_set)

    @classmethod
    def of(cls, calibration: Calibration | None, ball_set: Path | None = None) -> Ground:
        """From a calibration and a taught set's file."""
        if calibration is None:
            return cls(calibration=None)
        from service.desk.readers import TableReaders

        return cls(calibration=calibration, taught=set_from(ball_set), read=TableReaders())

    def layout(self, entry: Entry, *, previous: Layout | None = None) -> Layout:
        """The entry's layout, read from its still where it is one.

        Raises:
            CalibrationError: code ``no-calibration``; it is a still, and none was given.
            RestmarkError: the entry, or its still, is refused.
        """
        if entry.refusal is not None:
            raise entry.refusal
        if entry.layout is not None:
            return entry.layout
        if self.calibration is None or self.read is None:
            raise CalibrationError(
                f"{entry.name}: is a still, and no --calibration was given; allowed: stills with "
                "a calibration file, or layouts as `restmark read --json` prints them. Give "
                "--calibration.",
                code="no-calibration",
            )
        return self.read(
            entry.still or b"",
            self.calibration,
            name=entry.name,
            previous=previous,
            taught=self.taught,
        )

    def table_for(self, layout: Layout) -> Table:
        """The calibration's table, or the layout's own surface with standard mouths."""
        if self.calibration is None:
            length, width = layout.surface_mm
            return Table(length_mm=length, width_mm=width)
        table = self.calibration.table
        check_surface(layout, table)
        return table


def check_surface(layout: Layout, table: Table) -> None:
    """Refuse a layout of another surface than the table's.

    Raises:
        FileFormatError: it is of another one.
    """
    if any(
        abs(a - b) > _SAME_SURFACE_MM
        for a, b in zip(layout.surface_mm, table.surface_mm, strict=True)
    ):
        raise FileFormatError(
            f"{layout.still}.surface_mm: got {layout.surface_mm[0]:g}x{layout.surface_mm[1]:g}; "
            f"allowed: {table.length_mm:g}x{table.width_mm:g} mm as in the calibration and the "
            "other layouts. Use the calibration of that table."
        )


def error_object(refused: RestmarkError) -> dict[str, str]:
    """A refusal as JSON commands print it."""
    return {"code": refused.code, "detail": refused.detail}
