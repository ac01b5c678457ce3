"""Landmarks of an empty-table still, found without help: match, solve, match again, closer.

The cloth's outline gives a first camera. Around its predictions the seams, then noses,
facings and sights are looked for in windows that shrink as the camera gets better.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.kept.calibration import HEADS
from calibration.lens.file import Lens
from calibration.notices import Notice
from calibration.seen.edges import LEAST_SIGNIFICANCE, Light, TableEdge, find_edge
from calibration.seen.marks import (
    DIMENSION_EXPECTED_MM,
    OUTWARD,
    Landmark,
    Landmarks,
    Vector,
    side_point_mm,
)
from calibration.seen.noses import back_edges, nose_edges
from calibration.seen.pocket_mouths import facing_edges
from calibration.seen.points import stands_alone
from calibration.seen.sights import find_sights
from calibration.solve.equations import Equations
from calibration.solve.solve import settle
from calibration.table import Table

from .cloth import ClothOutline, find_cloth
from .vetting import lined_up

ImageArray = NDArray[np.uint8]
FEWEST_STRETCHES = 24
"""Least stretches of noses and seams together with which a still is worth solving."""
STRETCHES_A_POINT = 4
"""Stretches that one hand-given point stands for; a sight too where the points stand alone."""
_OUTLINE_SIDES = ("left", "foot", "right", "head")
_OUTLINE_POINTS = 12
_OUTLINE_SIGMA_PX = 2.0


@dataclass(frozen=True, slots=True)
class _Pass:
    """Search windows of one pass, mm; 0 leaves a kind out."""

    back: float
    nose: float
    sight: float
    pocket: float
    least_significance: float = LEAST_SIGNIFICANCE


# a line that is still askew in its window does not stand out, and the sights judge the hold
_SEAMS = _Pass(back=16.0, nose=0.0, sight=0.0, pocket=0.0, least_significance=0.0)
_HOLD_SIGHT_MM = 18.0
_DRAWN_MM = (18.0, 12.0, 9.0)
"""Windows in which the sights alone draw the hold closer: a seam may be something else's edge."""
_CLOSE_MM = 4.0
"""So near to their predicted places sights do not improve a hold: half the next search's window."""
_ENOUGH_SIGHTS, _FEWEST_SIGHTS, _WORTH_MORE = 12, 6, 3
"""Sights that end the search for a hold, that can carry it alone, that make it worth more."""
_BORNE_OUT_SIGHTS = 8
"""Sights that end it where they lie as close as ``_CLOSE_MM`` to where the seams put them: by
chance a blob within the search's 18 mm does so one time in twenty."""
_PASSES = (
    _Pass(back=8.0, nose=8.0, sight=18.0, pocket=0.0),
    _Pass(back=5.0, nose=5.0, sight=10.0, pocket=7.0),
    _Pass(back=3.0, nose=3.0, sight=6.0, pocket=4.0),
)


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


def find_landmarks(
    still_bgr: ImageArray,
    table: Table,
    head: str,
    lens: Lens | None = None,
    given: Sequence[Landmark] = (),
) -> Landmarks:
    """Landmarks of the empty ``table`` in ``still_bgr`` ((H, W, 3), 8-bit).

    ``head`` is the side of the picture on which the head end lies. ``given`` are hand-given
    points: they take part, start the search where there are enough of them, and replace what is
    found of the same name.

    Raises:
        CalibrationError: the table cannot be found whole and the points do not suffice.
    """
    check_still(still_bgr, head, lens)
    height, width = still_bgr.shape[:2]
    blank = Landmarks(items=tuple(given), head=head, image_size_px=(width, height))
    light = Light.of(still_bgr)
    if not stands_alone(given, table):
        outlines = find_cloth(still_bgr, head)
        shape = outlines[0].shape_words(table, lens, (width, height))
        try:
            camera, change_mm = _first_hold(light, outlines, table, blank, lens)
            return replace(_closer(light, camera, table, change_mm, blank, lens), shape=shape)
        except CalibrationError as refused:
            raise CalibrationError(
                f"{refused.detail} {shape}".strip(), code=refused.code, fields=refused.fields
            ) from None
    try:
        camera, change_mm = _pointed_hold(light, table, blank, lens)
        marks = _closer(light, camera, table, change_mm, blank, lens)
        marks = lined_up(marks, *settle(marks, lens))
        _check_found(marks, alone=True)
        return marks
    except CalibrationError as few:
        note = Notice(
            code="points-alone",
            text=f"only the {len(given)} given points are used: {few.detail}",
            fields={"points": len(given)},
        )
        return replace(blank, notes=(note,))


def _closer(
    light: Light,
    camera: Camera,
    table: Table,
    change_mm: Mapping[str, float],
    blank: Landmarks,
    lens: Lens | None,
) -> Landmarks:
    """All kinds of landmarks around a first camera, in windows that shrink."""
    marks = _matched(light, camera, table, change_mm, _PASSES[0], blank)
    for search in _PASSES[1:]:
        camera, change_mm = settle(marks, lens, camera)
        marks = _matched(light, camera, table, change_mm, search, blank)
    return marks


def _pointed_hold(
    light: Light, table: Table, given: Landmarks, lens: Lens | None
) -> tuple[Camera, dict[str, float]]:
    """Camera and dimensions by hand-given points, drawn closer by the seams around."""
    camera, change_mm = settle(given, lens)
    marks = _matched(light, camera, table, change_mm, _SEAMS, given)
    return settle(marks, lens, camera)


def _first_hold(
    light: Light,
    outlines: Sequence[ClothOutline],
    table: Table,
    blank: Landmarks,
    lens: Lens | None,
) -> tuple[Camera, dict[str, float]]:
    """Camera and dimensions by the outline around which most sights are seen."""
    best = _Hold(-1, None, {})
    for outline, short in _readings(outlines):
        if len(short) == 1 and best.sights < _WORTH_MORE:
            break
        rough = tuple(_outline_marks(outline, table, short))
        marks = replace(blank, items=rough + blank.items)
        try:
            hold = _held(light, marks, table, lens, blank)
            best = max(best, hold, key=lambda hold: hold.sights)
        except CalibrationError:
            continue
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


def _held(
    light: Light, outline_marks: Landmarks, table: Table, lens: Lens | None, blank: Landmarks
) -> _Hold:
    """Seams around the outline, then the sights alone, which are harder to mistake."""
    camera, change_mm = settle(outline_marks, lens)
    marks = _matched(light, camera, table, change_mm, _SEAMS, blank)
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


def _readings(
    outlines: Sequence[ClothOutline],
) -> list[tuple[ClothOutline, tuple[str, ...]]]:
    """Outlines with the sides on which each may stop short, at the noses' shade.

    An outline is that of the cushions' backs, or of the bed, or of the bed on one side only.
    """
    whole = [(outline, ()) for outline in outlines]
    bed = [(outline, _OUTLINE_SIDES) for outline in outlines]
    single = [(outline, (side,)) for outline in outlines[:2] for side in _OUTLINE_SIDES]
    return [*whole, *bed, *single]


def _matched(
    light: Light,
    camera: Camera,
    table: Table,
    change_mm: Mapping[str, float],
    search: _Pass,
    blank: Landmarks,
) -> Landmarks:
    """What is found around the camera, and the hand-given points of ``blank`` in their place."""
    named = {item.name for item in blank.items}
    found = [
        mark for mark in _search(light, camera, table, change_mm, search) if mark.name not in named
    ]
    marks = replace(blank, items=(*found, *blank.items))
    _check_found(marks, stands_alone(blank.items, table))
    return marks


def _search(
    light: Light, camera: Camera, table: Table, change_mm: Mapping[str, float], search: _Pass
) -> list[Landmark]:
    # single sides do not wander: a wrong edge taken once must not draw the next search after it
    change_mm = {
        name: DIMENSION_EXPECTED_MM.get(name, 0.0)
        if name.startswith(("nose_", "back_"))
        else change
        for name, change in change_mm.items()
    }
    kinds: tuple[tuple[float, tuple[TableEdge, ...]], ...] = (
        (search.back, back_edges(table)),
        (search.nose, nose_edges(table)),
        (search.pocket, facing_edges(table)),
    )
    found = [
        mark
        for window_mm, edges in kinds
        if window_mm
        for edge in edges
        for mark in find_edge(light, camera, edge, change_mm, window_mm, search.least_significance)
    ]
    if search.sight:
        found += find_sights(light, camera, table, change_mm, search.sight)
    return found


def _outline_marks(outline: ClothOutline, table: Table, short: Sequence[str]) -> list[Landmark]:
    """The outline's sides as rough landmarks, placed along by the corners' perspective.

    Sides in ``short`` are taken for nose lines, the others for the cushions' backs.
    """
    length, across = table.surface_mm
    left, foot, right, head = (
        0.0 if side in short else table.cushion_width_mm for side in _OUTLINE_SIDES
    )
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
        kind = "nose" if side in short else "cushion back"
        for number, (pixel, place) in enumerate(zip(picked, placed, strict=True)):
            along_mm = float(place[1 if OUTWARD[side][0] else 0])
            out.append(
                Landmark(
                    name=f"cloth outline {side} {number + 1}",
                    kind=kind,
                    point_mm=_side_place(table, side, along_mm, kind),
                    seen_px=(float(pixel[0]), float(pixel[1])),
                    normal_px=(float(normal[0]), float(normal[1])),
                    sigma_px=_OUTLINE_SIGMA_PX,
                )
            )
    return out


def _side_place(table: Table, side: str, along_mm: float, kind: str) -> Vector:
    if kind == "nose":
        return (*side_point_mm(table, side, along_mm, 0.0), table.nose_height_mm)
    flat = side_point_mm(table, side, along_mm, table.cushion_width_mm)
    return (*flat, table.rail_cap_height_mm)


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


def _check_found(marks: Landmarks, alone: bool) -> None:
    """Refuse too few; ``alone``: the hand-given points could do without the others."""
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
