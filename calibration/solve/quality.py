"""How good a solve is: residuals in px and mm, refusals, and the error budget over the bed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.chi_square import PLANE_95
from calibration.errors import CalibrationError
from calibration.kept.calibration import Budget, Calibration, Residual
from calibration.seen.marks import DIMENSION_EXPECTED_MM, DIMENSION_SIGMA_MM, Landmarks
from calibration.seen.points import FEWEST_CHECKED
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

GRID = (15, 30)
"""Rows across and columns along the bed at which the error is judged."""
HIGHEST_RMS_MM = 1.5
LEAST_AGREEING = 0.6
"""Least part of the landmarks that must agree with the solve."""
MOST_SIGMAS = 4.5
LENS_HEIGHT, FREE_HEIGHT = 0.015, 0.04
"""How far the solved height may be from the tape's, with a lens file and without."""
LOWEST_MM, MOST_LEAN_DEG = 700.0, 55.0
MOST_SIDE_MM = 4.0
SUSPECT_SIDE_MM = 1.2
"""How far a whole side's edge may lie from its place before refusal, or warning."""
FEWEST_SIGHTS = 6
_LEAST_HEADING = 0.15
"""Cosine of the steepest angle between the told head side and where the head end is seen."""
MOST_POINT_SIGMAS = 5.0
LEAST_POINT_MM = 2.0
GIVEN_KINDS = ("point", "ball")
"""A hand-given point further from its place than both of these is refused by its name."""


def bed_grid_mm(table: Table, rows: int = GRID[0], columns: int = GRID[1]) -> FloatArray:
    """Cell centres over the playing surface, (rows · columns, 2), mm."""
    along = (np.arange(columns) + 0.5) / columns * table.length_mm
    across = (np.arange(rows) + 0.5) / rows * table.width_mm
    grid_y, grid_x = np.meshgrid(across, along, indexing="ij")
    return np.column_stack([grid_x.ravel(), grid_y.ravel()])


def error_budget(calibration: Calibration) -> Budget:
    """95 % error of the calibration alone over the bed at ball height."""
    grid = bed_grid_mm(calibration.table)
    radius = radius_95_mm(calibration.own_covariance_mm2(grid, by_tape=True))
    by_noses = radius_95_mm(calibration.own_covariance_mm2(grid))
    worst = int(np.argmax(radius))
    return Budget(
        median_mm=float(np.median(radius)),
        worst_mm=float(radius[worst]),
        worst_at_mm=(float(grid[worst, 0]), float(grid[worst, 1])),
        rows=GRID[0],
        columns=GRID[1],
        height_mm=BALL_CENTRE_HEIGHT_MM,
        noses_median_mm=float(np.median(by_noses)),
        noses_worst_mm=float(by_noses.max()),
        map_mm=tuple(
            tuple(round(float(value), 4) for value in row) for row in radius.reshape(GRID)
        ),
    )


def radius_95_mm(cov_mm2: FloatArray) -> FloatArray:
    """Longer semi-axis of the 95 % ellipse, (N,), of covariances (N, 2, 2)."""
    return np.asarray(np.sqrt(PLANE_95 * np.linalg.eigvalsh(cov_mm2)[:, 1]))


def bed_error_mm(calibration: Calibration, true_camera: Camera) -> FloatArray:
    """Error vectors (N, 2), mm, over the bed grid at ball height, against a known camera.

    Where a ball's centre would be placed minus where it is.
    """
    grid = bed_grid_mm(calibration.table)
    points = np.column_stack([grid, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)])
    return calibration.table_mm(true_camera.project(points)) - grid


def residuals_of(
    landmarks: Landmarks,
    camera: Camera,
    placed_mm: FloatArray,
    sigma_px: FloatArray,
) -> tuple[Residual, ...]:
    """Residual of every landmark, now placed at (N, 3), in px and in mm at its own height."""
    off_px = landmarks.seen_px - camera.project(placed_mm)
    to_mm = np.linalg.inv(camera.place_slopes(placed_mm)[:, :, :2])
    out = []
    for item, to, off, sigma in zip(landmarks.items, to_mm, off_px, sigma_px, strict=True):
        if item.normal_px is None:
            size_px = float(np.hypot(*off))
            size_mm = float(np.hypot(*(to @ off)))
        else:
            normal = np.asarray(item.normal_px)
            size_px = float(off @ normal)
            size_mm = float(np.sign(size_px) * np.hypot(*(to @ (size_px * normal))))
        out.append(
            Residual(
                name=item.name,
                kind=item.kind,
                off_px=size_px,
                off_mm=size_mm,
                sigma_px=float(sigma),
                weight=float(1.0 / np.sqrt(1.0 + (size_px / sigma) ** 2 / 4.0)),
            )
        )
    return tuple(out)


def check_head(camera: Camera, table: Table, head: str) -> None:
    """Refuse landmarks, hand-given ones above all, whose names put the head end elsewhere."""
    middle, nose = (table.length_mm / 2, table.width_mm / 2, 0.0), (0.0, table.width_mm / 2, 0.0)
    (from_u, from_v), (to_u, to_v) = camera.project([middle, nose])
    ways = {"left": from_u - to_u, "right": to_u - from_u, "top": from_v - to_v}
    ways["bottom"] = -ways["top"]
    if ways[head] < _LEAST_HEADING * np.hypot(to_u - from_u, to_v - from_v):
        raise CalibrationError(
            f"head: got {head!r}, but by the landmarks' names the head end lies on the "
            f"{max(ways, key=lambda side: ways[side])} of the picture; allowed: names and head "
            "side that agree. Correct the one or the other."
        )


def _check_points(residuals: Sequence[Residual], stated_px: FloatArray) -> None:
    """Refuse hand-given points and frozen balls that the others contradict, by name."""
    wrong = {
        f"{r.name} {abs(r.off_mm):.1f} mm ({abs(r.off_px):.1f} px)": r.kind
        for r, sigma_px in zip(residuals, stated_px, strict=True)
        if r.kind in GIVEN_KINDS
        and abs(r.off_px) > MOST_POINT_SIGMAS * sigma_px
        and abs(r.off_mm) > LEAST_POINT_MM
    }
    if "ball" in wrong.values():
        raise CalibrationError(
            f"ball check: got {', '.join(wrong)} from where all landmarks together put them; "
            f"allowed: {LEAST_POINT_MM:g} mm. Freeze these balls to their cushions again, and "
            "check that the camera has not moved between the stills."
        )
    if wrong:
        raise CalibrationError(
            f"points: got {', '.join(wrong)} from where all landmarks together put them; allowed: "
            f"{MOST_POINT_SIGMAS:g} times the stated error. Check these points' names and pixels, "
            "the surface's length and width, and the head side."
        )


def check_fit(
    residuals: Sequence[Residual],
    stated_px: FloatArray,
    table: Table,
    change_mm: Mapping[str, float],
    camera: Camera,
    tape: tuple[float, float] | None,
    *,
    sure: bool = False,
) -> tuple[str, ...]:
    """Refuse a solve that the landmarks contradict; warnings where they merely murmur.

    ``stated_px`` (N,) is each landmark's error as stated, before its kind was rescaled;
    hand-given points are judged by it alone, being as good as whoever gave them. ``tape`` is
    the height by tape measure with its 95 % error, mm; ``sure``: a lens file holds the scale, so
    that the tape checks the surface's size.
    """
    found = [r for r in residuals if r.kind not in GIVEN_KINDS]
    _check_points(residuals, stated_px)
    if found:
        _check_residuals(found)
    _check_camera(camera)
    doubts = _check_dimensions(table, change_mm)
    _check_kinds(residuals)
    _check_height(camera, tape, sure)
    return (
        *doubts,
        *_odd_ones(residuals),
        *_few_points(residuals),
    )


def _check_residuals(residuals: Sequence[Residual]) -> None:
    off_mm = np.array([abs(r.off_mm) for r in residuals])
    rms_mm = float(np.sqrt(np.mean(np.minimum(off_mm, 3 * HIGHEST_RMS_MM) ** 2)))
    agreeing = float(np.mean(off_mm < 2 * HIGHEST_RMS_MM))
    if rms_mm > HIGHEST_RMS_MM or agreeing < LEAST_AGREEING:
        worst = sorted(residuals, key=lambda r: -abs(r.off_mm))[:5]
        listed = ", ".join(f"{r.name} {r.off_mm:+.1f} mm" for r in worst)
        raise CalibrationError(
            f"landmarks: got residuals of {rms_mm:.1f} mm rms, {agreeing:.0%} of them agreeing; "
            f"allowed: {HIGHEST_RMS_MM:g} mm and {LEAST_AGREEING:.0%}. Worst: {listed}. Check the "
            "surface's length and width, the head side and these landmarks."
        )


def _check_camera(camera: Camera) -> None:
    """Refuse a camera that nobody has over a table."""
    height_mm = float(camera.position_mm[2])
    focal = camera.fx_px / max(camera.image_size_px)
    lean_deg = float(np.degrees(np.arccos(np.clip(-camera.rotation[2, 2], -1, 1))))
    if height_mm < LOWEST_MM or lean_deg > MOST_LEAN_DEG or not 0.33 < focal < 5.5:
        raise CalibrationError(
            f"landmarks: got a lens {height_mm:.0f} mm above the bed, leaning {lean_deg:.0f} "
            f"degrees, with a focal length of {focal:.2f} picture widths; allowed: "
            f"{LOWEST_MM:.0f} mm or more, {MOST_LEAN_DEG:.0f} degrees or less, 0.33 to 5.5. Give "
            "a lens file or the lens's height, and check the still."
        )


def _check_dimensions(table: Table, change_mm: Mapping[str, float]) -> tuple[str, ...]:
    """Refuse dimensions that no table has: then other edges were taken for the table's."""
    odd, doubts = [], []
    for name, change in change_mm.items():
        off_mm = change - DIMENSION_EXPECTED_MM.get(name, 0.0)
        whole_side = name.startswith(("nose_", "back_"))
        most_mm = MOST_SIDE_MM if whole_side else MOST_SIGMAS * DIMENSION_SIGMA_MM[name]
        what = name.removesuffix("_mm").replace("_", " ")
        if abs(off_mm) > most_mm:
            value = off_mm if whole_side else getattr(table, name) + change
            odd.append(f"{what} {value:.1f} mm")
        elif name.startswith("nose_") and abs(off_mm) > SUSPECT_SIDE_MM:
            doubts.append(
                f"the nose line on the {what.removeprefix('nose ')} side looks {off_mm:+.1f} mm "
                "off: measure the surface from nose to nose."
            )
    if odd:
        raise CalibrationError(
            f"landmarks: got a table with {', '.join(odd)}; allowed: what tables are built to. "
            "Check the surface's size and that the still shows the whole empty table, sharp and "
            "evenly lit."
        )
    return tuple(doubts)


def _check_kinds(residuals: Sequence[Residual]) -> None:
    """Refuse a solve that rests on edges alone: other straight edges look like them."""
    sights = sum(r.kind == "sight" and r.weight > 0.5 for r in residuals)
    points = sum(r.kind == "point" for r in residuals)
    # sights and points tell where along a side something lies; points alone were judged before
    if sights + 1.5 * points < FEWEST_SIGHTS:
        raise CalibrationError(
            f"landmarks: got {sights} sights that agree with the cushions' edges; allowed: "
            f"{FEWEST_SIGHTS} or more. Take the still with all rails in view, sharp, and with "
            "nothing on the rails."
        )


def _check_height(camera: Camera, tape: tuple[float, float] | None, sure: bool) -> None:
    """Refuse a tape measure that the solve contradicts; ``sure``: a lens file settled the solve."""
    if tape is None:
        return
    height_mm, error_mm = tape
    solved_mm = float(camera.position_mm[2])
    most_mm = max((LENS_HEIGHT if sure else FREE_HEIGHT) * height_mm, 1.5 * error_mm)
    if abs(solved_mm - height_mm) > most_mm:
        raise CalibrationError(
            f"camera_height_mm: got {height_mm:g}, but the landmarks put the lens at "
            f"{solved_mm:.0f} mm; allowed: agreement within {most_mm:.0f} mm. Measure again from "
            "the bed to the lens, and check the surface's size."
        )


def _few_points(residuals: Sequence[Residual]) -> tuple[str, ...]:
    points = sum(r.kind == "point" for r in residuals)
    if points < len(residuals) or points >= FEWEST_CHECKED:
        return ()
    return (
        f"with {points} points alone a wrong one may go unnoticed: give {FEWEST_CHECKED} or more.",
    )


def _odd_ones(residuals: Sequence[Residual]) -> tuple[str, ...]:
    odd = [r for r in residuals if r.kind in ("sight", "pocket") and abs(r.off_mm) > 3.2]
    if not odd:
        return ()
    listed = ", ".join(f"{r.name} {r.off_mm:+.1f} mm" for r in odd[:6])
    return (f"off by more than the building tolerance and counted less: {listed}.",)
