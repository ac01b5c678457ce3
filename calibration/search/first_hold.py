"""A first camera: the reading of the cloth's outlines around which most sights are seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.lens.file import Lens
from calibration.seen.edges import Light
from calibration.seen.marks import OUTWARD, Landmark, Landmarks, Vector, side_point_mm
from calibration.seen.sights import find_sights
from calibration.solve.equations import Equations
from calibration.solve.solve import roughly, settle
from calibration.table import Table

from .cloth import ClothOutline
from .matching import SEAMS, matched

_OUTLINE_SIDES = ("left", "foot", "right", "head")
_OUTLINE_POINTS = 12
_OUTLINE_SIGMA_PX = 2.0
_HOLD_SIGHT_MM = 18.0
_DRAWN_MM = (18.0, 12.0, 9.0)
"""Windows in which the sights alone draw the hold closer: a seam may be something else's edge."""
_CLOSE_MM = 4.0
"""So near to their predicted places sights do not improve a hold: half the next search's window."""
_ENOUGH_SIGHTS, _FEWEST_SIGHTS = 12, 6
"""Sights that end the search for a hold, and that can carry it alone."""
_BORNE_OUT_SIGHTS = 8
"""Sights that end it where they lie as close as ``_CLOSE_MM`` to where the seams put them: by
chance a blob within the search's 18 mm does so one time in twenty."""
_LIKELY_MISFIT, _FAR_MISFIT = 0.002, 0.003
"""Misfits of an outline as a table's, of the picture's longer side: one below the first is tried
as soon as it is met, one above the second only where no other holds."""
_ALIKE_SHARE = 0.0016
"""Where the bed's corners are seen as near to those of a reading around which no sight was seen, of
the picture's longer side, none is tried again: 3 mm or so, where sights are sought within 18."""


@dataclass(frozen=True, slots=True)
class _Hold:
    """A first camera and how many sights it finds."""

    sights: int
    camera: Camera | None
    change_mm: dict[str, float]
    borne_out: bool = False
    """Whether the sights were seen where the seams alone had put them."""

    @property
    def enough(self) -> bool:
        """Whether no other reading of the outlines need be tried."""
        return self.sights >= (_BORNE_OUT_SIGHTS if self.borne_out else _ENOUGH_SIGHTS)


@dataclass(frozen=True, slots=True)
class _Trial:
    """An outline read in one way, and the camera that sees a table so."""

    marks: Landmarks
    camera: Camera
    misfit: float
    """What that camera leaves, rms over the picture's longer side."""


def first_hold(
    light: Light,
    ways: Iterable[Sequence[ClothOutline]],
    table: Table,
    blank: Landmarks,
    lens: Lens | None,
) -> tuple[Camera, dict[str, float]]:
    """Camera and dimensions by the outline around which most sights are seen.

    Raises:
        CalibrationError: around none are any seen.
    """
    best, outlines = _Hold(-1, None, {}), list[ClothOutline]()
    in_vain: list[FloatArray] = []
    for trial in _in_order(ways, outlines, table, blank, lens):
        corners_px = trial.camera.project(_corners_mm(table))
        alike_px = _ALIKE_SHARE * max(blank.image_size_px)
        if any(np.abs(corners_px - before).max() < alike_px for before in in_vain):
            continue
        try:
            hold = _held(light, trial, table, lens, blank)
        except CalibrationError:
            in_vain.append(corners_px)
            continue
        if hold.sights == 0:
            in_vain.append(corners_px)
        best = max(best, hold, key=lambda hold: hold.sights)
        if best.enough:
            break
    if best.camera is None or (best.sights == 0 and not blank.items):
        raise CalibrationError(
            f"still: got {len(outlines)} possible outlines of the cloth, none with sights on the "
            "rails around it; "
            "allowed: a whole table with its sights. Take the still of the empty table again, "
            "sharp, whole, evenly lit, and with nothing over its ends and rails."
        )
    return best.camera, best.change_mm


def _corners_mm(table: Table) -> FloatArray:
    length, width = table.surface_mm
    return np.array([(0.0, 0.0, 0.0), (length, 0, 0), (length, width, 0), (0, width, 0)])


def _in_order(
    ways: Iterable[Sequence[ClothOutline]],
    met: list[ClothOutline],
    table: Table,
    blank: Landmarks,
    lens: Lens | None,
) -> Iterator[_Trial]:
    """The readings of all outlines, likeliest first, none made before it is asked for.

    The outlines themselves are added to ``met``.
    """
    unlikely: list[_Trial] = []
    for outlines in ways:
        met += outlines
        likely: list[_Trial] = []
        for trial in _trials(outlines, table, blank, lens):
            if trial.misfit < _LIKELY_MISFIT:
                yield trial
            else:
                (likely if trial.misfit < _FAR_MISFIT else unlikely).append(trial)
        yield from sorted(likely, key=_misfit)
    yield from sorted(unlikely, key=_misfit)


def _misfit(trial: _Trial) -> float:
    return trial.misfit


def _trials(
    outlines: Sequence[ClothOutline], table: Table, blank: Landmarks, lens: Lens | None
) -> Iterator[_Trial]:
    """The readings of ``outlines`` that some camera sees at all, roughly fitted one by one."""
    near: Camera | None = None  # all outlines are about the same table
    for outline, sides in _readings(outlines):
        rough = tuple(_outline_marks(outline, table, sides))
        marks = replace(blank, items=rough + blank.items)
        try:
            near, off_px = roughly(marks, lens, near)
        except CalibrationError:
            continue
        yield _Trial(marks, near, off_px / max(blank.image_size_px))


def _held(light: Light, trial: _Trial, table: Table, lens: Lens | None, blank: Landmarks) -> _Hold:
    """Seams around the outline, then the sights alone, which are harder to mistake."""
    camera, change_mm = settle(trial.marks, lens, trial.camera)
    marks = matched(light, camera, table, change_mm, SEAMS, blank)
    camera, change_mm = settle(marks, lens, camera)
    sights = find_sights(light, camera, table, change_mm, _HOLD_SIGHT_MM)
    if len(sights) < _FEWEST_SIGHTS:
        return _Hold(len(sights), camera, change_mm)
    if _close(sights, camera, change_mm, _CLOSE_MM):
        return _Hold(len(sights), camera, change_mm, borne_out=True)
    for window_mm in _DRAWN_MM:
        held = replace(blank, items=(*sights, *blank.items))
        camera, change_mm = settle(held, lens, camera)
        sights = find_sights(light, camera, table, change_mm, window_mm)
    return _Hold(len(sights), camera, change_mm)


def _close(
    sights: Sequence[Landmark], camera: Camera, change_mm: Mapping[str, float], within_mm: float
) -> bool:
    """Whether all sights but a few odd ones are seen as near to their predicted places."""
    held = Equations.of(
        Landmarks(items=tuple(sights), head="left", image_size_px=camera.image_size_px)
    )
    placed_mm = held.placed_mm(change_mm)
    off_px = np.hypot(*(held.seen_px - camera.project(placed_mm)).T)
    jacobian = camera.jacobian(placed_mm[:, :2], float(placed_mm[:, 2].mean()))
    off_mm = off_px / np.sqrt(np.abs(np.linalg.det(jacobian)))
    return bool(np.sum(off_mm > within_mm) <= len(sights) // 8)


_BACK, _NOSE, _RIM = "cushion back", "nose", "rim"
"""What a side of an outline may be: where the cushion's cloth ends, the nose's shade, or the rail's
outer edge, where light makes the rail look like cloth."""
_Sides = Mapping[str, str]


def _readings(outlines: Sequence[ClothOutline]) -> list[tuple[ClothOutline, _Sides]]:
    """Outlines with what each side may be of.

    An outline is that of the cushions' backs, or of the bed, or strays to nose or rim on one side.
    """
    backs = dict.fromkeys(_OUTLINE_SIDES, _BACK)
    whole = [(outline, backs) for outline in outlines]
    bed = [(outline, dict.fromkeys(_OUTLINE_SIDES, _NOSE)) for outline in outlines]
    single = [
        (outline, backs | {side: kind})
        for kind in (_NOSE, _RIM)
        for outline in outlines[:2]
        for side in _OUTLINE_SIDES
    ]
    return [*whole, *bed, *single]


def _outline_marks(outline: ClothOutline, table: Table, sides: _Sides) -> list[Landmark]:
    """The outline's sides as rough landmarks, placed along by the corners' perspective."""
    length, across = table.surface_mm
    out_mm = {_NOSE: 0.0, _BACK: table.cushion_width_mm, _RIM: table.rail_width_mm}
    left, foot, right, head = (out_mm[sides[side]] for side in _OUTLINE_SIDES)
    corners_mm = np.array(
        [
            [-head, across + left],
            [length + foot, across + left],
            [length + foot, -right],
            [-head, -right],
        ]
    )
    to_table = cv2.getPerspectiveTransform(
        outline.corners_px.astype(np.float32), corners_mm.astype(np.float32)
    )
    out = []
    for side, points in zip(_OUTLINE_SIDES, outline.sides_px, strict=True):
        picked = points[np.linspace(0, len(points) - 1, _OUTLINE_POINTS).astype(int)]
        placed = cv2.perspectiveTransform(picked[:, None].astype(np.float64), to_table)[:, 0]
        tangent = points[-1] - points[0]
        normal = np.array([-tangent[1], tangent[0]]) / np.hypot(*tangent)
        kind = _NOSE if sides[side] == _NOSE else _BACK
        for number, (pixel, place) in enumerate(zip(picked, placed, strict=True)):
            along_mm = float(place[1 if OUTWARD[side][0] else 0])
            out.append(
                Landmark(
                    name=f"cloth outline {side} {number + 1}",
                    kind=kind,
                    point_mm=_side_place(table, side, along_mm, sides[side]),
                    seen_px=(float(pixel[0]), float(pixel[1])),
                    normal_px=(float(normal[0]), float(normal[1])),
                    sigma_px=_OUTLINE_SIGMA_PX,
                )
            )
    return out


def _side_place(table: Table, side: str, along_mm: float, kind: str) -> Vector:
    if kind == _NOSE:
        return (*side_point_mm(table, side, along_mm, 0.0), table.nose_height_mm)
    out_mm = table.rail_width_mm if kind == _RIM else table.cushion_width_mm
    return (*side_point_mm(table, side, along_mm, out_mm), table.rail_cap_height_mm)
