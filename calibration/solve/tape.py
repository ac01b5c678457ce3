"""A height by tape measure against what the landmarks alone say of it.

Without a lens file focal length and height trade against each other, and a tape that is wrong
draws the camera with it; where the camera leans, or balls are frozen, the landmarks know better.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.errors import CalibrationError
from calibration.notices import Notice
from calibration.seen.marks import Landmarks
from calibration.table import Table

from .fit import State, covariance_of, problem_of, settled, viewed
from .known import Known

MOST_SIGMAS = 4.0
"""How far a tape may be from what the landmarks alone say, in the sigmas of both."""
UNCHECKED = 0.04
"""Sigma, as a part of the height, from which the landmarks say nothing of it: at 4 sigma a sixth
of the height would pass."""


def check_tape(
    landmarks: Landmarks, table: Table, known: Known, state: State
) -> tuple[Notice, ...]:
    """Refuse a height that the landmarks alone contradict; say where they cannot tell.

    ``state`` is the solve with it.

    Raises:
        CalibrationError: they do.
    """
    if known.tape_mm is None or known.lens is not None:
        return ()
    told_mm, error_mm = known.tape_mm
    free = problem_of(landmarks, replace(known, camera_height_mm=None, focal=None))
    free = viewed(free, table, state.camera)
    alone = settled(free, replace(state, cost=float("inf")), rounds=1)
    surface = (table.surface_mm, known.surface_error_mm / 2)
    names, covariance = covariance_of(free, alone, None, surface)
    at = names.index("lens_z_mm")
    height_mm, sigma_mm = float(alone.camera.position_mm[2]), float(np.sqrt(covariance[at, at]))
    most_mm = MOST_SIGMAS * float(np.hypot(sigma_mm, error_mm / 2))
    if abs(height_mm - told_mm) > most_mm:
        raise CalibrationError(
            f"camera_height_mm: got {told_mm:g}, but the landmarks alone put the lens at "
            f"{height_mm:.0f} mm; allowed: agreement within {most_mm:.0f} mm. Measure again from "
            "the bed straight up to the lens, and check the surface's size."
        )
    if sigma_mm < UNCHECKED * told_mm:
        return ()
    text = (
        f"nothing in the still checks the lens's height of {told_mm:g} mm: all places are scaled "
        "by it. Measure it twice, or make a lens file."
    )
    return (Notice(code="height-unchecked", text=text, fields={"height_mm": told_mm}),)
