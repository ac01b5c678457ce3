"""The one way from an empty-table still to a calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.kept.bed_picture import BedPicture
from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from calibration.search.landmarks import check_still, find_landmarks
from calibration.seen.marks import Landmark, Landmarks
from calibration.seen.points import check_alone, point_marks
from calibration.solve.agreement import check_sights, check_spread
from calibration.solve.known import NOTHING, Known
from calibration.solve.solve import solve
from calibration.watch.rail_strips import find_rail_marks

from .errors import CalibrationError
from .table import Table

_BY_HAND = (
    " Or give points by hand: `--points` with four or more, or as many as the landmarks found "
    "lack, supplies the rest."
)


def calibrate(
    still_bgr: NDArray[np.uint8],
    table: Table,
    head: str,
    lens: Lens | None = None,
    camera_height_mm: float | None = None,
    *,
    known: Known = NOTHING,
) -> Calibration:
    """Calibration from a still ((H, W, 3), 8-bit BGR) of the whole empty ``table``.

    ``head`` (left, right, top or bottom) is the side of the picture on which the table's head
    end lies: given, never guessed. ``lens`` or ``camera_height_mm`` (bed to lens) settle focal
    length against height; the result says which did. ``known`` holds hand-given points and what
    else was measured. Raises CalibrationError with the reason and the landmarks at fault.
    """
    landmarks = landmarks_of(still_bgr, table, head, lens, known)
    return watched(solved(landmarks, table, lens, camera_height_mm, known), still_bgr)


def watched(calibration: Calibration, still_bgr: NDArray[np.uint8]) -> Calibration:
    """``calibration`` with what later stills are compared with: rails for drift, and the bed."""
    marks = find_rail_marks(still_bgr, calibration.camera, calibration.table)
    warnings = calibration.warnings
    if not marks:
        warnings += (
            "the rails show too few sharp edges: whether camera or table moves later cannot be "
            "checked.",
        )
    bed = BedPicture.of(still_bgr, calibration.camera, calibration.table)
    return replace(calibration, rail_marks=marks, warnings=warnings, bed_picture=bed)


def landmarks_of(
    still_bgr: NDArray[np.uint8],
    table: Table,
    head: str,
    lens: Lens | None = None,
    known: Known = NOTHING,
) -> Landmarks:
    """What is found in the still together with the hand-given points of ``known``."""
    check_still(still_bgr, head, lens)
    height, width = still_bgr.shape[:2]
    given = point_marks(known.points, table, (width, height))
    if known.points_only:
        check_alone(given, table)
        return Landmarks(items=given, head=head, image_size_px=(width, height))
    try:
        return find_landmarks(still_bgr, table, head, lens, given)
    except CalibrationError as refused:
        raise _with_remedy(refused, given, table) from None


def solved(
    landmarks: Landmarks,
    table: Table,
    lens: Lens | None = None,
    camera_height_mm: float | None = None,
    known: Known = NOTHING,
) -> Calibration:
    """The solve over ``landmarks``; a refusal says which kinds of them there were."""
    try:
        made = solve(landmarks, table, landmarks.image_size_px, lens, camera_height_mm, known=known)
        check_sights(made.residuals)
        check_spread(made.residuals, table)
        return made
    except CalibrationError as refused:
        if not refused.detail.startswith(("landmarks", "points", "surface")):
            raise
        said = f"{refused.detail} {landmarks.shape}".strip()
        if refused.detail.startswith("surface"):
            raise CalibrationError(said) from None
        found = CalibrationError(f"{said} Found: {landmarks.found_words}.")
        given = [item for item in landmarks.items if item.kind == "point"]
        raise _with_remedy(found, given, table, len(landmarks.items)) from None


def _with_remedy(
    refused: CalibrationError, given: Sequence[Landmark], table: Table, found: int = 0
) -> CalibrationError:
    """The refusal with the way out that points by hand offer, or why those given are no help."""
    if not given:
        return CalibrationError(refused.detail + _BY_HAND)
    try:
        check_alone(given, table)
    except CalibrationError as lack:
        return CalibrationError(f"{refused.detail} And the points alone do not do: {lack.detail}")
    if len(given) == found:
        return refused
    return CalibrationError(
        f"{refused.detail} Or leave the automatic landmarks out: `--points-only`."
    )
