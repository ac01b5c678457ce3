"""The one way from an empty-table still to a calibration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .files import Calibration
from .landmarks import find_landmarks
from .lens_file import Lens
from .rail_strips import find_rail_marks
from .solve import solve
from .table import Table


def calibrate(
    still_bgr: NDArray[np.uint8],
    table: Table,
    head: str,
    lens: Lens | None = None,
    camera_height_mm: float | None = None,
) -> Calibration:
    """Calibration from a still ((H, W, 3), 8-bit BGR) of the whole empty ``table``.

    ``head`` (left, right, top or bottom) is the side of the picture on which the table's head
    end lies: given, never guessed. ``lens`` or ``camera_height_mm`` (bed to lens) settle focal
    length against height; the result says which did. Raises CalibrationError with the reason
    and the landmarks at fault.
    """
    landmarks = find_landmarks(still_bgr, table, head, lens)
    height, width = still_bgr.shape[:2]
    solved = solve(landmarks, table, (width, height), lens, camera_height_mm)
    return watched(solved, still_bgr)


def watched(calibration: Calibration, still_bgr: NDArray[np.uint8]) -> Calibration:
    """``calibration`` with the marks of its empty still by which later ones tell drift."""
    marks = find_rail_marks(still_bgr, calibration.camera, calibration.table)
    warnings = calibration.warnings
    if not marks:
        warnings += (
            "the rails show too few sharp edges: whether camera or table moves later cannot be "
            "checked.",
        )
    return replace(calibration, rail_marks=marks, warnings=warnings)
