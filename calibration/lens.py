"""The lens: K and distortion fitted from stills of a printed board, with held-out error.

Zhang's plane-based calibration (IEEE TPAMI 22, 2000) as OpenCV has it, then what it leaves
out: bad stills dropped, the simplest sufficient model, held-out error, coverage, covariance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .board import BoardPattern, BoardView, find_board
from .errors import CalibrationError
from .lens_file import INTRINSICS, BoardStill, Lens

__all__ = ["BoardStill", "Lens", "fit_lens", "picture_coverage"]

FloatArray = NDArray[np.float64]
FEWEST_STILLS = 5
COVERAGE_GRID = (8, 6)
"""Columns and rows of picture cells in which board corners are counted."""
POOREST_COVERAGE = 0.5
"""Least part of the picture's cells with a board corner; less leaves distortion a guess."""
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


def fit_lens(stills: Sequence[tuple[str, NDArray[np.uint8]]], board: BoardPattern) -> Lens:
    """Lens from named stills ((H, W, 3) BGR or (H, W) grey) of ``board``.

    Raises CalibrationError where sizes differ, fewer than ``FEWEST_STILLS`` are usable, the
    picture is covered too poorly or the board was never tilted.
    """
    size = _common_size(stills)
    views: list[BoardView] = []
    records: dict[str, BoardStill] = {}
    for name, still in stills:
        try:
            views.append(find_board(name, still, board))
        except CalibrationError as refused:
            records[name] = BoardStill(name=name, used=False, reason=refused.detail)
    _check_enough(views, records)
    fit, kept, dropped = _without_outliers(views, size)
    records |= dropped
    _check_enough(kept, records)
    model, held_out_px = _choose_model(kept, size)
    fit = _fit(kept, size, model)
    coverage = picture_coverage(kept, size)
    if coverage < POOREST_COVERAGE:
        raise CalibrationError(
            f"lens: got board corners in {coverage:.0%} of the picture; allowed: "
            f"{POOREST_COVERAGE:.0%} or more. Take more stills with the board at the picture's "
            "edges and corners."
        )
    covariance = _covariance(kept, fit)
    focal_sigma = float(np.sqrt(covariance[0, 0])) / fit.matrix[0, 0]
    if focal_sigma > POOREST_FOCAL:
        raise CalibrationError(
            f"lens: got a focal length known to {focal_sigma:.1%}; allowed: {POOREST_FOCAL:.0%} "
            "or better. Take stills with the board tilted by 20 to 40 degrees, several ways."
        )
    records |= {
        view.name: BoardStill(
            name=view.name, used=True, corners=len(view.corners_px), rms_px=float(rms)
        )
        for view, rms in zip(kept, fit.rms_by_view_px, strict=True)
    }
    return _lens(
        fit, size, covariance, held_out_px, coverage, [records[name] for name, _ in stills]
    )


def picture_coverage(views: Sequence[BoardView], size_px: tuple[int, int]) -> float:
    """Part of the picture's cells (``COVERAGE_GRID``) that hold a board corner."""
    columns, rows = COVERAGE_GRID
    points = np.concatenate([view.corners_px for view in views])
    cell = np.floor((points + 0.5) / np.asarray(size_px) * (columns, rows)).astype(int)
    inside = np.all((cell >= 0) & (cell < (columns, rows)), axis=1)
    return len({(int(u), int(v)) for u, v in cell[inside]}) / (columns * rows)


# -- steps ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Fit:
    matrix: FloatArray
    distortion: FloatArray
    poses: list[tuple[FloatArray, FloatArray]]
    rms_by_view_px: FloatArray
    rms_px: float
    flags: int


def _common_size(stills: Sequence[tuple[str, NDArray[np.uint8]]]) -> tuple[int, int]:
    if len(stills) < FEWEST_STILLS:
        raise CalibrationError(
            f"lens: got {len(stills)} board stills; allowed: {FEWEST_STILLS} or more. Take more "
            "stills of the board, tilted several ways and over the whole picture."
        )
    sizes = {name: (still.shape[1], still.shape[0]) for name, still in stills}
    if len(sizes) < len(stills):
        raise CalibrationError(
            f"lens: got {len(stills)} stills under {len(sizes)} names; allowed: each still once. "
            "Leave the doubles out."
        )
    size = sizes[stills[0][0]]
    odd = [f"{name} ({w}x{h})" for name, (w, h) in sizes.items() if (w, h) != size]
    if odd:
        raise CalibrationError(
            f"lens: got stills of other sizes than {size[0]}x{size[1]}: {', '.join(odd)}; "
            "allowed: one size, that of the practice stills. Leave the odd ones out."
        )
    return size


def _check_enough(views: Sequence[BoardView], records: Mapping[str, BoardStill]) -> None:
    if len(views) < FEWEST_STILLS:
        reasons = "; ".join(f"{s.name}: {s.reason}" for s in records.values() if not s.used)
        raise CalibrationError(
            f"lens: got {len(views)} usable board stills; allowed: {FEWEST_STILLS} or more. "
            f"Not used: {reasons or 'none'}. Take more stills of the board."
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
    views: list[BoardView], size: tuple[int, int]
) -> tuple[_Fit, list[BoardView], dict[str, BoardStill]]:
    """Fit, leave out the worst still while it stands apart from the rest, fit again."""
    kept = list(views)
    dropped: dict[str, BoardStill] = {}
    fit = _fit(kept, size, _SIMPLEST)
    while True:
        worst = int(np.argmax(fit.rms_by_view_px))
        limit_px = max(3.0 * float(np.median(fit.rms_by_view_px)), 0.3)
        if fit.rms_by_view_px[worst] <= limit_px or len(kept) <= 3:
            return fit, kept, dropped
        view = kept.pop(worst)
        rms_px = float(fit.rms_by_view_px[worst])
        dropped[view.name] = BoardStill(
            name=view.name,
            used=False,
            corners=len(view.corners_px),
            rms_px=rms_px,
            reason=f"{view.name}: got {rms_px:.2f} px off the other stills; allowed: "
            f"{limit_px:.2f} px. Keep the board flat and still, and focus and zoom fixed.",
        )
        fit = _fit(kept, size, _SIMPLEST)


def _choose_model(views: list[BoardView], size: tuple[int, int]) -> tuple[int, float]:
    """The simplest set of free intrinsics that no richer one beats on held-out stills."""
    best, best_px = _MODELS[0], _held_out_px(views, size, _MODELS[0])
    for flags in _MODELS[1:]:
        error_px = _held_out_px(views, size, flags)
        if error_px < _EARNED * best_px:
            best, best_px = flags, error_px
    return best, best_px


def _held_out_px(views: list[BoardView], size: tuple[int, int], flags: int) -> float:
    """RMS error at every second corner of stills that took no part in the fit.

    A left-out still's pose comes from its other corners, so only the lens is judged.
    """
    squares: list[FloatArray] = []
    folds = min(_FOLDS, len(views))
    for fold in range(folds):
        fit = _fit([v for i, v in enumerate(views) if i % folds != fold], size, flags)
        for view in views[fold::folds]:
            for seen in (0, 1):
                squares.append(_half_error_px2(view, fit, seen))
    return float(np.sqrt(np.mean(np.concatenate(squares))))


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
    coverage: float,
    stills: Sequence[BoardStill],
) -> Lens:
    k1, k2, p1, p2, k3 = (float(k) for k in fit.distortion)
    return Lens(
        image_size_px=size,
        fx_px=float(fit.matrix[0, 0]),
        fy_px=float(fit.matrix[1, 1]),
        cx_px=float(fit.matrix[0, 2]),
        cy_px=float(fit.matrix[1, 2]),
        distortion=(k1, k2, p1, p2, k3),
        parameter_cov=tuple(tuple(float(v) for v in row) for row in covariance),
        fit_rms_px=fit.rms_px,
        held_out_rms_px=held_out_px,
        coverage=coverage,
        stills=tuple(stills),
    )
