"""One robust solve over all landmarks: pose, what the lens leaves open, the table's dimensions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration, Residual
from calibration.lens.file import Lens
from calibration.seen.marks import KINDS, Landmarks
from calibration.table import Table

from .fit import best_start, covariance_of, problem_of, settled
from .known import NOTHING, Known
from .proportions import check_size
from .quality import check_fit, check_head, error_budget, residuals_of
from .start import check_landmarks, start_cameras

FEWEST_FACINGS, MOST_FACING_MM = 3, 1.2
"""Facings that must agree, and how well (rms), before a mouth's width is believed."""


def solve(
    landmarks: Landmarks,
    table: Table,
    image_size_px: tuple[int, int],
    lens: Lens | None = None,
    camera_height_mm: float | None = None,
    *,
    known: Known = NOTHING,
) -> Calibration:
    """Camera, table dimensions and their covariance from ``landmarks``.

    With a lens file its intrinsics are held and their covariance is carried along. Without one
    the focal length is settled by ``camera_height_mm`` (the lens above the bed, to ±20 mm or
    what ``known`` says), by frozen balls among the landmarks, by EXIF data or, failing all that,
    by a wide default. Raises CalibrationError naming the landmarks at fault.
    """
    _check_request(landmarks, image_size_px, lens, camera_height_mm)
    check_landmarks(landmarks)
    problem = problem_of(landmarks, lens, camera_height_mm, known)
    state = settled(problem, best_start(problem, start_cameras(landmarks, lens)))
    surface = (table.surface_mm, known.surface_error_mm / 2)
    names, covariance = covariance_of(problem, state, lens, surface)
    residuals = residuals_of(
        landmarks,
        state.camera,
        problem.equations.placed_mm(state.change_mm),
        problem.equations.expected_px(state.camera, state.kind_scale),
    )
    stated_px = problem.equations.expected_px(state.camera, dict.fromkeys(KINDS, 1.0))
    check_head(state.camera, table, landmarks.head)
    tape = _tape(camera_height_mm, known)
    sigma_mm = dict(zip(names, (float(v) for v in np.sqrt(np.diag(covariance))), strict=True))
    confirmed = lens is not None and tape is not None
    warnings = check_size(table, state.change_mm, sigma_mm, known, confirmed=confirmed)
    warnings += check_fit(
        residuals, stated_px, table, state.change_mm, state.camera, tape, sure=lens is not None
    )
    source = _scale_source(landmarks, lens, camera_height_mm, known)
    calibration = Calibration(
        camera=state.camera,
        table=_settled_table(table, state.change_mm, residuals),
        head=landmarks.head,
        scale_source=source,
        parameter_names=names,
        parameter_cov=tuple(tuple(float(v) for v in row) for row in covariance),
        residuals=residuals,
        warnings=(*landmarks.notes, *warnings, *_rough(source, known)),
    )
    return replace(calibration, budget=error_budget(calibration))


def settle(
    landmarks: Landmarks, lens: Lens | None, start: Camera | None = None
) -> tuple[Camera, dict[str, float]]:
    """Camera and changed dimensions (mm) from ``landmarks``, without judging them.

    The inner step of the search for landmarks; ``start`` saves the search for a first camera.
    """
    check_landmarks(landmarks)
    problem = problem_of(landmarks, lens, None, NOTHING)
    cameras = [start] if start is not None else start_cameras(landmarks, lens)
    state = settled(problem, best_start(problem, cameras), rounds=1)
    return state.camera, state.change_mm


def _check_request(
    landmarks: Landmarks,
    size: tuple[int, int],
    lens: Lens | None,
    camera_height_mm: float | None,
) -> None:
    if landmarks.image_size_px != size:
        raise CalibrationError(
            f"landmarks.image_size_px: got {landmarks.image_size_px}; allowed: {size}. Find the "
            "landmarks in the still that is being calibrated."
        )
    if lens is not None and lens.image_size_px != size:
        raise CalibrationError(
            f"lens.image_size_px: got a lens file for {lens.image_size_px[0]}x"
            f"{lens.image_size_px[1]}; allowed: the still's own {size[0]}x{size[1]}. Fit the lens "
            "from board stills of that size and zoom."
        )
    if camera_height_mm is not None and not 300 <= camera_height_mm <= 20000:
        raise CalibrationError(
            f"camera_height_mm: got {camera_height_mm}; allowed: 300 to 20000. Measure from the "
            "bed straight up to the lens, in mm."
        )


def _settled_table(
    table: Table, change_mm: Mapping[str, float], residuals: Sequence[Residual]
) -> Table:
    """The table with the dimensions that the still settled.

    A mouth is taken over only where its facings agree; else the table's own figure stays.
    """
    own = {
        name: getattr(table, name) + change
        for name, change in change_mm.items()
        if not name.startswith(("nose_", "back_"))
    }
    for name, at_side in (("corner_mouth_mm", False), ("side_mouth_mm", True)):
        off_mm = [
            r.off_mm
            for r in residuals
            if r.kind == "pocket" and r.name.startswith("pocket side-") == at_side
        ]
        if len(off_mm) < FEWEST_FACINGS or np.sqrt(np.mean(np.square(off_mm))) > MOST_FACING_MM:
            own.pop(name, None)
    return replace(table, **own)


def _tape(camera_height_mm: float | None, known: Known) -> tuple[float, float] | None:
    """The height by tape measure and its 95 % error, mm."""
    return None if camera_height_mm is None else (camera_height_mm, known.camera_height_error_mm)


def _rough(source: str, known: Known) -> tuple[str, ...]:
    if source != "EXIF" or known.focal is None:
        return ()
    return (
        f"the scale rests on EXIF data ({known.focal.how}): a lens file, the lens's height or a "
        "ball check settle it better.",
    )


def _scale_source(
    landmarks: Landmarks, lens: Lens | None, camera_height_mm: float | None, known: Known
) -> str:
    """The best of what was given; ``fit`` gives the others no say in the focal length."""
    if lens is not None:
        return "lens file"
    if camera_height_mm is not None:
        return "tape measure"
    if landmarks.count("ball"):
        return "ball check"
    return "default" if known.focal is None else "EXIF"
