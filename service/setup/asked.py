"""What a player asks of a calibration, as values that the solve takes."""

from __future__ import annotations

from dataclasses import dataclass, field

from calibration.lengths import length_mm
from calibration.lens.file import Lens
from calibration.seen.points import GivenPoint
from calibration.solve.known import MEASURED_ERROR_MM, NAMED_ERROR_MM, TAPE_ERROR_MM, Known
from calibration.table import NAMED_SURFACES_MM, Table

from .stills import SetupStill


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A still of the empty table and what was measured beside it."""

    still: SetupStill
    surface: str
    """As ``Table.from_surface`` takes it."""
    head: str
    camera_height: str | None = None
    """A length; None: not measured."""
    camera_height_error: str | None = None
    surface_error: str | None = None
    lens: Lens | None = None
    ball_check: SetupStill | None = None
    points: tuple[GivenPoint, ...] = field(default=())
    points_only: bool = False
    accept_balls: bool = False

    def table(self) -> Table:
        """The table as told; TableError where it cannot be."""
        return Table.from_surface(self.surface)

    def known(self) -> Known:
        """What settles the scale; RestmarkError where a length cannot be read or cannot be."""
        height_mm = _length(self.camera_height, "camera_height")
        error_mm = _length(self.camera_height_error, "camera_height_error")
        return Known(
            lens=self.lens,
            camera_height_mm=height_mm,
            camera_height_error_mm=TAPE_ERROR_MM if error_mm is None else error_mm,
            surface_error_mm=self._surface_error_mm(),
            points=self.points,
            points_only=self.points_only,
        )

    def _surface_error_mm(self) -> float:
        given_mm = _length(self.surface_error, "surface_error")
        if given_mm is not None:
            return given_mm
        return NAMED_ERROR_MM if self.surface in NAMED_SURFACES_MM else MEASURED_ERROR_MM


def _length(text: str | None, what: str) -> float | None:
    return None if text is None else length_mm(text, what=what)
