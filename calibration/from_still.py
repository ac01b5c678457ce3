"""The one way from an empty-table still to a calibration."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.kept.bed_picture import BedPicture
from calibration.kept.calibration import Calibration
from calibration.notices import Notice
from calibration.search.landmarks import check_still, find_landmarks
from calibration.seen.frozen_balls import SeenBall, frozen_marks
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


BallCheck = Callable[[Calibration], Sequence[SeenBall]]
"""Reads the balls of a ball-check still under a provisional calibration."""


def calibrate(
    still_bgr: NDArray[np.uint8],
    table: Table,
    head: str,
    known: Known = NOTHING,
    *,
    ball_check: BallCheck | None = None,
) -> Calibration:
    """Calibration from a still ((H, W, 3), 8-bit BGR) of the whole empty ``table``.

    ``head`` (left, right, top or bottom) is the side of the picture on which the table's head
    end lies: given, never guessed. ``known`` holds what settles focal length against height and
    what else was measured; the result says which did. With ``ball_check`` the table is solved
    once more with the balls that it sees frozen at their places. Whether the bed is empty is not
    looked at here: that takes a reader of balls.

    Raises:
        CalibrationError: the table is not found whole, or what was found and given does not
            agree; the text names the landmarks at fault and the remedy.
    """
    landmarks = landmarks_of(still_bgr, table, head, known)
    made = watched(solved(landmarks, table, known), still_bgr)
    if ball_check is None:
        return made
    marks = frozen_marks(ball_check(made), made.camera, made.table)
    more = replace(landmarks, items=(*landmarks.items, *marks))
    return watched(solved(more, table, known), still_bgr)


def watched(calibration: Calibration, still_bgr: NDArray[np.uint8]) -> Calibration:
    """``calibration`` with what later stills are compared with: rails for drift, and the bed."""
    marks = find_rail_marks(still_bgr, calibration.camera, calibration.table)
    notices = calibration.notices
    if not marks:
        text = (
            "the rails show too few sharp edges: whether camera or table moves later cannot be "
            "checked."
        )
        notices += (Notice(code="drift-unchecked", text=text),)
    bed = BedPicture.of(still_bgr, calibration.camera, calibration.table)
    return replace(calibration, rail_marks=marks, notices=notices, bed_picture=bed)


def landmarks_of(
    still_bgr: NDArray[np.uint8], table: Table, head: str, known: Known = NOTHING
) -> Landmarks:
    """What is found in the still together with the hand-given points of ``known``.

    Raises:
        CalibrationError: the still, the head side or the points cannot be used, or the table is
            not found whole.
    """
    check_still(still_bgr, head, known.lens)
    height, width = still_bgr.shape[:2]
    given = point_marks(known.points, table, (width, height))
    if known.points_only:
        check_alone(given, table)
        return Landmarks(items=given, head=head, image_size_px=(width, height))
    try:
        return find_landmarks(still_bgr, table, head, known.lens, given)
    except CalibrationError as refused:
        raise _with_remedy(refused, given, table) from None


def solved(landmarks: Landmarks, table: Table, known: Known = NOTHING) -> Calibration:
    """The solve over ``landmarks``; a refusal says which kinds of them there were.

    Raises:
        CalibrationError: the landmarks do not agree with each other or with what is ``known``.
    """
    try:
        made = solve(landmarks, table, known)
        check_sights(made.residuals)
        check_spread(made.residuals, table)
        return made
    except CalibrationError as refused:
        about = refused.fields.get("about")
        if about not in ("landmarks", "points", "surface"):
            raise
        said = _said(refused, f"{refused.detail} {landmarks.shape}".strip())
        if about == "surface":
            raise said from None
        found = _said(said, f"{said.detail} Found: {landmarks.found_words}.")
        given = [item for item in landmarks.items if item.kind == "point"]
        raise _with_remedy(found, given, table, len(landmarks.items)) from None


def _said(refused: CalibrationError, detail: str) -> CalibrationError:
    """The refusal in other words."""
    return CalibrationError(detail, code=refused.code, fields=refused.fields)


def _with_remedy(
    refused: CalibrationError, given: Sequence[Landmark], table: Table, found: int = 0
) -> CalibrationError:
    """The refusal with the way out that points by hand offer, or why those given are no help."""
    if not given:
        return _said(refused, refused.detail + _BY_HAND)
    try:
        check_alone(given, table)
    except CalibrationError as lack:
        return _said(refused, f"{refused.detail} And the points alone do not do: {lack.detail}")
    if len(given) == found:
        return refused
    return _said(
        refused, f"{refused.detail} Or leave the automatic landmarks out: `--points-only`."
    )
