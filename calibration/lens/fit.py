"""The lens: K and distortion fitted from stills of a printed board, with held-out error.

Zhang's plane-based calibration (IEEE TPAMI 22, 2000) as OpenCV has it, then what it leaves
out: bad stills dropped, the simplest sufficient model, held-out error, coverage, covariance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import CalibrationError

from .board import BoardPattern, BoardView
from .board_views import FEWEST_STILLS, Still, check_enough, usable_views
from .coverage import bare_regions, check_coverage, picture_coverage
from .file import INTRINSICS, BoardStill, Lens

__all__ = ["FEWEST_STILLS", "BoardStill", "Lens", "fit_lens"]

POOREST_HELD_OUT = 1.0 / 1920
"""Largest held-out error in parts of the picture's longer side: 1 px of a 1080p still; lesser
pictures have 1 px too. All stills of a warped board agree that badly."""
RULER_MM = (50.0, 200.0)
"""What a print's 100 mm bar may measure: any scale of a copier, no slip of a digit."""
POOREST_FOCAL = 0.01
"""Largest relative sigma of the focal length; more means the board was never tilted."""
_FOLDS = 4
_SIMPLEST = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3
_MODELS = (
    _SIMPLEST | cv2.CALIB_FIX_K2 | cv2.CALIB_ZERO_TANGENT_DIST,
    _SIMPLEST | cv2.CALIB_ZERO_TANGENT_DIST,
    _SIMPLEST,
    cv2.CALIB_FIX_ASPECT_RATIO,
    0,
)
"""From few to many free intrinsics; a later one must earn its place on held-out stills."""
_EARNED = 0.98
_RICHEST = cv2.CALIB_FIX_ASPECT_RATIO
"""What a lens may do where no board was seen, and no still could tell."""


def fit_lens(
    stills: Sequence[Still],
    board: BoardPattern,
    *,
    ruler_mm: float | None = None,
    unread: Sequence[BoardStill] = (),
) -> Lens:
    """Lens from named stills ((H, W, 3) BGR or (H, W) grey) of ``board``.

    ``ruler_mm`` is what the print's 100 mm bar measures; the board's lengths are scaled by it.
    ``unread`` are records of files that held no picture, kept beside the others. Stills that are
    no good are left out, each with its reason. Raises CalibrationError where fewer than
    ``FEWEST_STILLS`` are usable, the picture is covered too poorly or the board was never tilted.
    """
    board = as_printed(board, ruler_mm)
    records = {still.name: still for still in unread}
    size, views, found = usable_views(stills, board, records)
    records |= found
    kept, outliers = _without_outliers(views, size, records)
    records |= outliers
    check_enough(kept, records)
    coverage = picture_coverage(kept, size)
    check_coverage(coverage)
    model, held_out_px2 = _choose_model(kept, size)
    _check_held_out(held_out_px2, size)
    fit = _fit(kept, size, model)
    covariance = _covariance(kept, fit)
    if bare_regions(coverage):
        covariance = _open_covariance(kept, size, fit, covariance)
    _check_focal(fit, covariance)
    for index, view in enumerate(kept):
        records[view.name] = replace(
            records[view.name],
            rms_px=float(fit.rms_by_view_px[index]),
            held_out_px=_rms(held_out_px2[index]),
        )
    return replace(
        _lens(fit, size, covariance, _rms(np.concatenate(held_out_px2)), coverage),
        board=board,
        ruler_mm=ruler_mm,
        stills=tuple(records.values()),
    )


# -- steps ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Fit:
    matrix: FloatArray
    distortion: FloatArray
    poses: list[tuple[FloatArray, FloatArray]]
    rms_by_view_px: FloatArray
    rms_px: float
    flags: int


def as_printed(board: BoardPattern, ruler_mm: float | None) -> BoardPattern:
    """The board as it lies on paper, by what the print's 100 mm bar measures.

    Raises:
        CalibrationError: no copier makes such a bar.
    """
    if ruler_mm is None:
        return board
    low, high = RULER_MM
    if not low <= ruler_mm <= high:
        raise CalibrationError(
            f"ruler_mm: got {ruler_mm:g}; allowed: {low:g} to {high:g}. Measure the printed bar "
            "from end to end in millimetres, or print again at 100 %."
        )
    return board.scaled(ruler_mm / 100.0)


def _check_held_out(error_px2: Sequence[FloatArray], size: tuple[int, int]) -> None:
    rms_px = _rms(np.concatenate(error_px2))
    limit_px = max(1.0, POOREST_HELD_OUT * max(size))
    if rms_px > limit_px:
        raise CalibrationError(
            f"lens: got {rms_px:.2f} px error at held-out corners; allowed: {limit_px:.2f} px or "
            "less. Check that the board lies flat, that squares and markers are as told and that "
            "focus and zoom were fixed, and take the stills again."
        )


def _check_focal(fit: _Fit, covariance: FloatArray) -> None:
    focal_sigma = float(np.sqrt(covariance[0, 0])) / fit.matrix[0, 0]
    if focal_sigma > POOREST_FOCAL:
        raise CalibrationError(
            f"lens: got a focal length known to {focal_sigma:.1%}; allowed: {POOREST_FOCAL:.0%} "
            "or better. Take stills with the board tilted by 20 to 40 degrees, several ways."
        )


def _fit(views: Sequence[BoardView], size: tuple[int, int], flags: int) -> _Fit:
    objects = [np.asarray(view.board_mm, dtype=np.float32) for view in views]
    images = [np.asarray(view.corners_px, dtype=np.float32) for view in views]
    start = np.array(
        [[max(size), 0, (size[0] - 1) / 2], [0, max(size), (size[1] - 1) / 2], [0, 0, 1]], float
    )
    rms, matrix, distortion, rvecs, tvecs, _, _, by_view = cv2.calibrateCameraExtended(
        objects, images, size, start, np.zeros(5), flags=flags | cv2.CALIB_USE_INTRINSIC_GUESS
    )
    poses = [
        (np.asarray(r, float).ravel(), np.asarray(t, float).ravel())
        for r, t in zip(rvecs, tvecs, strict=True)
    ]
    return _Fit(
        matrix=np.asarray(matrix, float),
        distortion=np.asarray(distortion, float).ravel()[:5],
        poses=poses,
        rms_by_view_px=np.asarray(by_view, float).ravel(),
        rms_px=float(rms),
        flags=flags,
    )


def _without_outliers(
    views: Sequence[BoardView], size: tuple[int, int], records: Mapping[str, BoardStill]
) -> tuple[list[BoardView], dict[str, BoardStill]]:
    """Leave out the worst still while it stands apart from the rest, fit and look again."""
    kept = list(views)
    dropped: dict[str, BoardStill] = {}
    while True:
        fit = _fit(kept, size, _SIMPLEST)
        worst = int(np.argmax(fit.rms_by_view_px))
        limit_px = max(3.0 * float(np.median(fit.rms_by_view_px)), 0.3)
        if fit.rms_by_view_px[worst] <= limit_px or len(kept) <= 3:
            return kept, dropped
        view = kept.pop(worst)
        rms_px = float(fit.rms_by_view_px[worst])
        dropped[view.name] = replace(
            records[view.name],
            used=False,
            code="outlier",
            rms_px=rms_px,
            reason=f"{view.name}: got {rms_px:.2f} px off the other stills; allowed: "
            f"{limit_px:.2f} px. Keep the board flat and still, and focus and zoom fixed.",
        )


def _choose_model(
    views: Sequence[BoardView], size: tuple[int, int]
) -> tuple[int, list[FloatArray]]:
    """The simplest set of free intrinsics that no richer one beats on held-out stills.

    With it the squared held-out errors of each view, px².
    """
    best, best_px2 = _MODELS[0], _held_out_px2(views, size, _MODELS[0])
    for flags in _MODELS[1:]:
        error_px2 = _held_out_px2(views, size, flags)
        if _rms(np.concatenate(error_px2)) < _EARNED * _rms(np.concatenate(best_px2)):
            best, best_px2 = flags, error_px2
    return best, best_px2


def _held_out_px2(
    views: Sequence[BoardView], size: tuple[int, int], flags: int
) -> list[FloatArray]:
    """Squared error at the corners of each view with a lens fitted without it.

    A left-out still's pose comes from its other corners, so only the lens is judged.
    """
    out = [np.zeros(0)] * len(views)
    folds = min(_FOLDS, len(views))
    for fold in range(folds):
        fit = _fit([v for i, v in enumerate(views) if i % folds != fold], size, flags)
        for index in range(fold, len(views), folds):
            halves = [_half_error_px2(views[index], fit, seen) for seen in (0, 1)]
            out[index] = np.concatenate(halves)
    return out


def _rms(error_px2: FloatArray) -> float:
    return float(np.sqrt(np.mean(error_px2)))


def _half_error_px2(view: BoardView, fit: _Fit, seen: int) -> FloatArray:
    pose, judged = slice(seen, None, 2), slice(1 - seen, None, 2)
    _, rvec, tvec = cv2.solvePnP(
        np.ascontiguousarray(view.board_mm[pose]),
        np.ascontiguousarray(view.corners_px[pose]),
        fit.matrix,
        fit.distortion,
    )
    image, _ = cv2.projectPoints(
        np.ascontiguousarray(view.board_mm[judged]), rvec, tvec, fit.matrix, fit.distortion
    )
    off = np.asarray(image, float).reshape(-1, 2) - view.corners_px[judged]
    return np.asarray(np.sum(off**2, axis=1))


def _covariance(views: Sequence[BoardView], fit: _Fit) -> FloatArray:
    """Covariance of the nine intrinsics with every board pose free, (9, 9)."""
    free = _free_columns(fit.flags)
    normal = np.zeros((len(free), len(free)))
    square_sum, count = 0.0, 0
    for view, (rvec, tvec) in zip(views, fit.poses, strict=True):
        image, jacobian = cv2.projectPoints(
            np.ascontiguousarray(view.board_mm), rvec, tvec, fit.matrix, fit.distortion
        )
        # OpenCV's columns: rvec 3, tvec 3, fx fy cx cy, k1 k2 p1 p2 k3
        full = np.asarray(jacobian, float)
        lens = full[:, 6:15] @ free.T
        pose = full[:, :6]
        cross = lens.T @ pose
        normal += lens.T @ lens - cross @ np.linalg.solve(pose.T @ pose, cross.T)
        square_sum += float(np.sum((np.asarray(image).reshape(-1, 2) - view.corners_px) ** 2))
        count += 2 * len(view.corners_px) - 6
    variance_px2 = square_sum / max(count - len(free), 1)
    return np.asarray(free.T @ np.linalg.inv(normal) @ free * variance_px2)


def _open_covariance(
    views: Sequence[BoardView], size: tuple[int, int], fit: _Fit, covariance: FloatArray
) -> FloatArray:
    """The covariance with what a richer lens, as likely where a board was seen, does elsewhere.

    Terms that did not earn their place on held-out stills may still be there: the richer one's
    own covariance, and by how much its parameters differ.
    """
    if fit.flags in (_RICHEST, 0):
        return covariance
    rich = _fit(views, size, _RICHEST)
    apart = _intrinsics(rich) - _intrinsics(fit)
    return np.asarray(_covariance(views, rich) + np.outer(apart, apart))


def _intrinsics(fit: _Fit) -> FloatArray:
    """The nine, in the order of ``INTRINSICS``."""
    fx, fy, cx, cy = fit.matrix[[0, 1, 0, 1], [0, 1, 2, 2]]
    return np.array([fx, fy, cx, cy, *fit.distortion])


def _free_columns(flags: int) -> FloatArray:
    """One row a free parameter: how it moves the nine intrinsics."""
    rows = np.eye(len(INTRINSICS))
    keep = np.ones(len(INTRINSICS), dtype=bool)
    if flags & cv2.CALIB_FIX_ASPECT_RATIO:
        rows[0, 1] = 1.0
        keep[1] = False
    if flags & cv2.CALIB_FIX_K2:
        keep[5] = False
    if flags & cv2.CALIB_ZERO_TANGENT_DIST:
        keep[6:8] = False
    if flags & cv2.CALIB_FIX_K3:
        keep[8] = False
    return rows[keep]


def _lens(
    fit: _Fit,
    size: tuple[int, int],
    covariance: FloatArray,
    held_out_px: float,
    coverage: Sequence[float],
) -> Lens:
    fx, fy, cx, cy, k1, k2, p1, p2, k3 = (float(value) for value in _intrinsics(fit))
    return Lens(
        image_size_px=size,
        fx_px=fx,
        fy_px=fy,
        cx_px=cx,
        cy_px=cy,
        distortion=(k1, k2, p1, p2, k3),
        parameter_cov=tuple(tuple(float(v) for v in row) for row in covariance),
        fit_rms_px=fit.rms_px,
        held_out_rms_px=held_out_px,
        coverage=float(np.mean(coverage)),
        coverage_by_region=tuple(coverage),
    )
