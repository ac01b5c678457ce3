"""How good a solve is: residuals in px and mm, and refusals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.budget import bed_grid_mm
from calibration.kept.calibration import Calibration, Residual
from calibration.notices import Notice
from calibration.seen.marks import (
    DIMENSION_EXPECTED_MM,
    DIMENSION_SIGMA_MM,
    SIDE_DIMENSIONS,
    Landmarks,
    nose_sigma_mm,
)
from calibration.seen.points import FEWEST_CHECKED
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

from .known import Known

HIGHEST_RMS_MM = 1.5
"""Root mean square of the residuals, each cut at three times this, above which a solve is refused:
half as much again as the worst of the empty stills at hand, 0.20 mm in the practice room and 0.54
to 1.00 mm in three rooms of another renderer."""
LEAST_AGREEING = 0.6
"""Least part of the landmarks that must lie within twice ``HIGHEST_RMS_MM``; there all do. A robust
fit breaks down where half of them lie elsewhere (Huber 1981)."""
MOST_SIGMAS = 4.5
"""How far a dimension may come out from the model's, in its own sigmas (``DIMENSION_SIGMA_MM``): by
chance one in 150,000 is further."""
LENS_HEIGHT, FREE_HEIGHT = 0.015, 0.04
"""How far the solved height may be from the tape's, as a part of it, with a lens file and without.
Named surfaces are 4.5 % apart and more: a wrong one shows without a lens file, and with one a
measured size that is a third of that off."""
LOWEST_MM, MOST_LEAN_DEG = 700.0, 55.0
"""Lower, a camera needs 110 degrees of view for the smallest table, 1981 mm; more aslant, the bed
is foreshortened to less than 0.57 and balls hide each other."""
FOCALS = (0.33, 5.5)
"""Focal lengths over the picture's longer side: 113 and 10 degrees of view. Just inside
``fit.FOCAL_LIMITS``, so that a solve that ran into those is refused."""
MOST_SIDE_MM = 4.0
"""A whole side's edge further from its place than this refuses a solve: the building tolerance of
3.2 mm (trade specification) and what light on a round nose adds."""
SUSPECT_SIGMAS = 4.0
"""From so many of its sigmas on (``marks.nose_sigma_mm``) a nose line is doubted."""
FEWEST_SIGHTS = 6
"""Sights that must agree, a third of a table's eighteen: as many as can carry the search alone."""
_LEAST_HEADING = 0.15
"""Cosine of the steepest angle, 81 degrees, between the told head side and where the head end is
seen."""
GIVEN_KINDS = ("point", "ball")
"""Kinds that somebody gave or laid by hand, as good as he says; ``outliers`` judges them."""


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
                part=item.part,
            )
        )
    return tuple(out)


def check_head(camera: Camera, table: Table, head: str) -> None:
    """Refuse landmarks, hand-given ones above all, whose names put the head end elsewhere.

    Raises:
        CalibrationError: they do.
    """
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


def check_fit(
    residuals: Sequence[Residual],
    table: Table,
    change_mm: Mapping[str, float],
    camera: Camera,
    known: Known,
) -> tuple[Notice, ...]:
    """Refuse a solve that the landmarks contradict; warnings where they merely murmur.

    Where ``known`` holds a lens file beside a height by tape, the lens settles the scale and the
    tape checks the surface's size.

    Raises:
        CalibrationError: residuals, camera, dimensions or the height by tape are not what a table
            and a camera over it have; ``fields["about"]`` is ``landmarks`` but for the tape.
    """
    found = [r for r in residuals if r.kind not in GIVEN_KINDS]
    if found:
        _check_residuals(found)
    _check_camera(camera)
    doubts = _check_dimensions(table, change_mm, camera)
    _check_kinds(residuals)
    _check_height(camera, known)
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
            "surface's length and width, the head side and these landmarks.",
            fields={"about": "landmarks", "names": [r.name for r in worst]},
        )


def hangs_so(camera: Camera) -> bool:
    """Whether somebody may have such a camera over a table."""
    height_mm, lean_deg, focal = _hung(camera)
    low, high = FOCALS
    return height_mm >= LOWEST_MM and lean_deg <= MOST_LEAN_DEG and low < focal < high


def _hung(camera: Camera) -> tuple[float, float, float]:
    """Height above the bed (mm), lean (degrees) and focal length over the longer side."""
    lean_deg = float(np.degrees(np.arccos(np.clip(-camera.rotation[2, 2], -1, 1))))
    focal = camera.fx_px / max(camera.image_size_px)
    return float(camera.position_mm[2]), lean_deg, focal


def _check_camera(camera: Camera) -> None:
    """Refuse a camera that nobody has over a table."""
    height_mm, lean_deg, focal = _hung(camera)
    if not hangs_so(camera):
        raise CalibrationError(
            f"landmarks: got a lens {height_mm:.0f} mm above the bed, leaning {lean_deg:.0f} "
            f"degrees, with a focal length of {focal:.2f} picture widths; allowed: "
            f"{LOWEST_MM:.0f} mm or more, {MOST_LEAN_DEG:.0f} degrees or less, {FOCALS[0]:g} to "
            f"{FOCALS[1]:g}. Give a lens file or the lens's height, and check the still.",
            fields={"about": "landmarks"},
        )


def _check_dimensions(
    table: Table, change_mm: Mapping[str, float], camera: Camera
) -> tuple[Notice, ...]:
    """Refuse dimensions that no table has: then other edges were taken for the table's."""
    odd: list[str] = []
    doubts: list[Notice] = []
    for name, change in change_mm.items():
        off_mm = change - DIMENSION_EXPECTED_MM.get(name, 0.0)
        whole_side = name in SIDE_DIMENSIONS
        most_mm = MOST_SIDE_MM if whole_side else MOST_SIGMAS * DIMENSION_SIGMA_MM[name]
        what = name.removesuffix("_mm").replace("_", " ")
        if abs(off_mm) > most_mm:
            value = off_mm if whole_side else getattr(table, name) + change
            odd.append(f"{what} {value:.1f} mm")
        elif whole_side and name.startswith("nose_"):
            side = what.removeprefix("nose ")
            if abs(off_mm) <= SUSPECT_SIGMAS * nose_sigma_mm(table, camera.position_mm, side):
                continue
            text = (
                f"the nose line on the {side} side looks {off_mm:+.1f} mm off: measure the surface "
                "from nose to nose."
            )
            doubts.append(
                Notice(code="nose-line-off", text=text, fields={"side": side, "off_mm": off_mm})
            )
    if odd:
        raise CalibrationError(
            f"landmarks: got a table with {', '.join(odd)}; allowed: what tables are built to. "
            "Check the surface's size and that the still shows the whole empty table, sharp and "
            "evenly lit.",
            fields={"about": "landmarks"},
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
            "nothing on the rails.",
            fields={"about": "landmarks"},
        )


def _check_height(camera: Camera, known: Known) -> None:
    """Refuse a tape measure that the solve contradicts."""
    if known.tape_mm is None:
        return
    height_mm, error_mm = known.tape_mm
    solved_mm = float(camera.position_mm[2])
    share = FREE_HEIGHT if known.lens is None else LENS_HEIGHT
    most_mm = max(share * height_mm, 1.5 * error_mm)
    if abs(solved_mm - height_mm) > most_mm:
        raise CalibrationError(
            f"camera_height_mm: got {height_mm:g}, but the landmarks put the lens at "
            f"{solved_mm:.0f} mm; allowed: agreement within {most_mm:.0f} mm. Measure again from "
            "the bed to the lens, and check the surface's size."
        )


def _few_points(residuals: Sequence[Residual]) -> tuple[Notice, ...]:
    points = sum(r.kind == "point" for r in residuals)
    if points < len(residuals) or points >= FEWEST_CHECKED:
        return ()
    text = (
        f"with {points} points alone a wrong one may go unnoticed: give {FEWEST_CHECKED} or more."
    )
    return (Notice(code="few-points", text=text, fields={"points": points}),)


def _odd_ones(residuals: Sequence[Residual]) -> tuple[Notice, ...]:
    odd = [r for r in residuals if r.kind in ("sight", "pocket") and abs(r.off_mm) > 3.2]
    if not odd:
        return ()
    listed = ", ".join(f"{r.name} {r.off_mm:+.1f} mm" for r in odd[:6])
    text = f"off by more than the building tolerance and counted less: {listed}."
    return (Notice(code="odd-landmarks", text=text, fields={"names": [r.name for r in odd]}),)
