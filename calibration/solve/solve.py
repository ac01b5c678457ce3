"""One robust solve over all landmarks: pose, what the lens leaves open, the table's dimensions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.budget import bed_grid_mm
from calibration.kept.calibration import Calibration, Residual
from calibration.lens.coverage import bare_share
from calibration.lens.file import Lens
from calibration.notices import Notice
from calibration.seen.marks import KINDS, SIDE_DIMENSIONS, Landmarks
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

from .fit import best_start, covariance_of, first_steps, problem_of, settled, viewed
from .known import NOTHING, Known
from .outliers import check_given
from .proportions import check_size
from .quality import check_fit, check_head, residuals_of
from .start import check_landmarks, start_cameras
from .tape import check_tape

LEAST_UNSEEN = 0.005
"""Part of the bed, two cells of the grid, from which it reaches where no board was seen."""
FEWEST_FACINGS, MOST_FACING_MM = 3, 1.2
"""Facings that must agree, and how well (rms), before a mouth's width is believed."""


def solve(landmarks: Landmarks, table: Table, known: Known = NOTHING) -> Calibration:
    """Camera, table dimensions and their covariance from ``landmarks``.

    With a lens file its intrinsics are held and their covariance is carried along. Without one
    the focal length is settled by the best of what is ``known``, failing all by a wide default.

    Raises:
        CalibrationError: the lens file is for stills of another size, the landmarks cannot be
            solved, contradict each other or what is known; the text names those at fault.
    """
    lens = known.lens
    _check_lens(lens, landmarks.image_size_px)
    check_landmarks(landmarks)
    problem = problem_of(landmarks, known)
    start = best_start(problem, start_cameras(landmarks, lens))
    problem = viewed(problem, table, start.camera)
    state = settled(problem, start)
    surface = (table.surface_mm, known.surface_error_mm / 2)
    names, covariance = covariance_of(problem, state, lens, surface)
    residuals = residuals_of(
        landmarks,
        state.camera,
        problem.equations.placed_mm(state.change_mm),
        problem.equations.expected_px(state.camera, state.kind_scale),
    )
    stated_px = problem.equations.expected_px(state.camera, dict.fromkeys(KINDS, 1.0))
    sigma_mm = dict(zip(names, (float(v) for v in np.sqrt(np.diag(covariance))), strict=True))
    notices = check_size(table, state.change_mm, sigma_mm, known)
    check_given(landmarks, known, state.camera, residuals, stated_px)
    check_head(state.camera, table, landmarks.head)
    notices += check_fit(residuals, table, state.change_mm, state.camera, known)
    notices += check_tape(landmarks, table, known, state)
    source = known.scale_source(balls=landmarks.count("ball") > 0)
    return Calibration(
        camera=state.camera,
        table=_settled_table(table, state.change_mm, residuals),
        head=landmarks.head,
        scale_source=source,
        parameter_names=names,
        parameter_cov=tuple(tuple(float(v) for v in row) for row in covariance),
        residuals=residuals,
        notices=(
            *landmarks.notes,
            *notices,
            *_rough(source, known),
            *_unseen(state.camera, table, lens),
        ),
    )


def settle(
    landmarks: Landmarks, lens: Lens | None, start: Camera | None = None
) -> tuple[Camera, dict[str, float]]:
    """Camera and changed dimensions (mm) from ``landmarks``, without judging them.

    The inner step of the search for landmarks; ``start`` saves the search for a first camera.

    Raises:
        CalibrationError: the landmarks are too few, on one line or mirrored.
    """
    check_landmarks(landmarks)
    problem = problem_of(landmarks, Known(lens=lens))
    cameras = [start] if start is not None else start_cameras(landmarks, lens)
    state = settled(problem, best_start(problem, cameras), rounds=1)
    return state.camera, state.change_mm


def roughly(
    landmarks: Landmarks, lens: Lens | None, start: Camera | None = None
) -> tuple[Camera, float]:
    """A camera by a fit's first steps, and how far off (rms, px) it leaves ``landmarks``.

    ``start`` saves the search for a first camera.

    Raises:
        CalibrationError: the landmarks are too few, on one line or mirrored.
    """
    check_landmarks(landmarks)
    problem = problem_of(landmarks, Known(lens=lens))
    cameras = [start] if start is not None else start_cameras(landmarks, lens)
    state = first_steps(problem, cameras)
    off_px = problem.equations.residuals_px(state.camera, state.change_mm)
    return state.camera, float(np.sqrt(np.mean(off_px**2)))


def _check_lens(lens: Lens | None, size: tuple[int, int]) -> None:
    if lens is not None and lens.image_size_px != size:
        raise CalibrationError(
            f"lens.image_size_px: got a lens file for {lens.image_size_px[0]}x"
            f"{lens.image_size_px[1]}; allowed: the still's own {size[0]}x{size[1]}. Fit the lens "
            "from board stills of that size and zoom."
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
        if name not in SIDE_DIMENSIONS
    }
    for name, at_side in (("corner_mouth_mm", False), ("side_mouth_mm", True)):
        off_mm = [
            r.off_mm
            for r in residuals
            if r.kind == "pocket" and r.part.startswith("side-") == at_side
        ]
        if len(off_mm) < FEWEST_FACINGS or np.sqrt(np.mean(np.square(off_mm))) > MOST_FACING_MM:
            own.pop(name, None)
    return replace(table, **own)


def _unseen(camera: Camera, table: Table, lens: Lens | None) -> tuple[Notice, ...]:
    """A notice where the bed reaches into parts of the picture that no board was seen in."""
    if lens is None:
        return ()
    grid = bed_grid_mm(table)
    at = np.column_stack([grid, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)])
    shares = bare_share(camera.project(at), lens.coverage_by_region, lens.image_size_px)
    if sum(shares.values()) < LEAST_UNSEEN:
        return ()
    where = ", ".join(f"{name} ({share:.0%} of the bed)" for name, share in shares.items())
    text = (
        f"the bed reaches into parts of the picture in which the board was hardly seen, {where}: "
        "there the lens is a guess, and the stated error with it. Make the lens file again with "
        "the board in those parts, too."
    )
    return (Notice(code="lens-unseen", text=text, fields={"shares": shares}),)


def _rough(source: str, known: Known) -> tuple[Notice, ...]:
    if source != "EXIF" or known.focal is None:
        return ()
    text = (
        f"the scale rests on EXIF data ({known.focal.how}): a lens file, the lens's height or a "
        "ball check settle it better."
    )
    return (Notice(code="rough-scale", text=text, fields={"how": known.focal.how}),)
