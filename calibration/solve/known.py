"""What is known beside the still: hand-given points, and what settles the scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.errors import CalibrationError
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
    """What somebody gave beside the still, the lens file and the lens's height."""

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


NOTHING = Known()
