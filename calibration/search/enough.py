"""What a search can start from and end with: a colour still, and landmarks enough to solve."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.kept.calibration import HEADS
from calibration.lens.file import Lens
from calibration.seen.marks import Landmarks

ImageArray = NDArray[np.uint8]
FEWEST_STRETCHES = 24
"""Least stretches of noses and seams together with which a still is worth solving."""
STRETCHES_A_POINT = 4
"""Stretches that one hand-given point stands for; a sight too where the points stand alone."""


def check_still(still_bgr: ImageArray, head: str, lens: Lens | None) -> None:
    """Refuse an unknown head side, what is no still, and a still that the lens is not for.

    Raises:
        CalibrationError: it is one of these.
    """
    if head not in HEADS:
        raise CalibrationError(
            f"head: got {head!r}; allowed: {', '.join(HEADS)}. Say on which side of the picture "
            "the table's head end lies."
        )
    shape = still_bgr.shape
    if len(shape) != 3 or shape[2] != 3 or still_bgr.dtype != np.uint8 or min(shape[:2]) < 200:
        raise CalibrationError(
            f"still: got an array {shape} of {still_bgr.dtype}; allowed: (H, W, 3) of 8-bit BGR, "
            "200 px or more each way. Give a colour still of the whole table."
        )
    if lens is not None and lens.image_size_px != (shape[1], shape[0]):
        raise CalibrationError(
            f"still: got {shape[1]}x{shape[0]} px, the lens file is for {lens.image_size_px[0]}x"
            f"{lens.image_size_px[1]}; allowed: the same size. Take both with one setting."
        )


def check_found(marks: Landmarks, alone: bool) -> None:
    """Refuse too few; ``alone``: the hand-given points could do without the others.

    Raises:
        CalibrationError: about ``landmarks``: fewer than are worth solving.
    """
    seams, noses = marks.count("cushion back"), marks.count("nose")
    helpers = marks.count("sight" if alone else "point")
    if seams + noses + STRETCHES_A_POINT * helpers < FEWEST_STRETCHES:
        raise CalibrationError(
            f"landmarks: got {noses} stretches of noses, {seams} of cushion seams, "
            f"{marks.count('sight')} sights and {marks.count('pocket')} of pocket facings; "
            f"allowed: {FEWEST_STRETCHES} stretches or more. Take the still of the "
            "empty table again, sharp, whole and evenly lit.",
            fields={"about": "landmarks"},
        )
