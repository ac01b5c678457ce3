"""What is known beside the still: what settles the scale, and points given by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError
from calibration.lens.file import Lens
from calibration.seen.exif import Focal
from calibration.seen.points import GivenPoint

NAMED_ERROR_MM = 3.2
"""Tables of a named size are built to this (trade specification), taken as 95 %."""
MEASURED_ERROR_MM = 1.0
"""A surface that somebody measured from nose to nose is right to this, 95 %."""
TAPE_ERROR_MM = 20.0
"""A height by tape measure is right to this, 95 %, where nothing else is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What somebody gave beside the still of the empty table.

    From above, focal length and height trade against each other. The best of what is given
    settles them: ``lens``, ``camera_height_mm``, frozen balls (read from a still of their own),
    ``focal``; a default, which is a guess, where nothing is.
    """

    lens: Lens | None = None
    """This camera's lens file: the best."""
    camera_height_mm: float | None = None
    """The lens above the bed, by tape; beside a lens file it checks the surface's size."""
    points: tuple[GivenPoint, ...] = ()
    points_only: bool = False
    """Whether the points alone count and nothing is looked for in the still."""
    camera_height_error_mm: float = TAPE_ERROR_MM
    """Error of the lens's height by tape measure, 95 %."""
    surface_error_mm: float = 0.0
    """To how many mm the surface's length and width are known, 95 %; 0: as if exact."""
    focal: Focal | None = None
    """From the still's EXIF data; it counts where neither lens, height nor balls do."""

    def __post_init__(self) -> None:
        height_mm = self.camera_height_mm
        if height_mm is not None and not 300 <= height_mm <= 20000:
            raise CalibrationError(
                f"camera_height_mm: got {height_mm}; allowed: 300 to 20000. Measure from the bed "
                "straight up to the lens, in mm."
            )
        error_mm = self.camera_height_error_mm
        if not (math.isfinite(error_mm) and 0.1 <= error_mm <= 2000):
            raise CalibrationError(
                f"camera_height_error_mm: got {error_mm}; allowed: 0.1 to 2000. Say to how many "
                "mm the lens's height is known (95 %)."
            )
        error_mm = self.surface_error_mm
        if not (math.isfinite(error_mm) and 0 <= error_mm <= 50):
            raise CalibrationError(
                f"surface_error_mm: got {error_mm}; allowed: 0 to 50. Say to how many mm length "
                "and width of the surface are known (95 %)."
            )

    @property
    def tape_mm(self) -> tuple[float, float] | None:
        """The height by tape measure and its 95 % error, mm."""
        if self.camera_height_mm is None:
            return None
        return (self.camera_height_mm, self.camera_height_error_mm)

    def scale_source(self, *, balls: bool) -> str:
        """The best of what was given, one of ``SCALE_SOURCES``; ``balls``: some were frozen."""
        if self.lens is not None:
            return "lens file"
        if self.camera_height_mm is not None:
            return "tape measure"
        if balls:
            return "ball check"
        return "default" if self.focal is None else "EXIF"


NOTHING = Known()
