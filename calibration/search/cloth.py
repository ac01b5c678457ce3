"""The cloth in the picture: its outline as four sides, the first hold on the table's pose.

The cushions wear the bed's cloth, so the outline is the seam between cushions and rail cap.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.errors import CalibrationError
from calibration.lens.file import Lens
from calibration.solve.start import DEFAULT_FOCAL
from calibration.table import Table

from .cloth_light import distances

ImageArray = NDArray[np.uint8]
_WORK_WIDTH_PX = 640
_LIMITS = (0.45, 0.65, 0.9, 1.3, 1.9, 2.7, 4.0)
"""Distances from the cloth tried, in units of its usual spread."""
_LEAST_FIT = 0.9
"""Least overlap (intersection over union) of cloth and its four-sided outline."""
_LEAST_BRIDGED, _LEAST_OF_HULL = 0.95, 0.6
"""The same of its convex hull, and the least part of the hull that is cloth."""
_OUTSIDE = 0.12
"""How far outside the picture, as a part of it, a corner of the cloth may lie."""
_SAME_PX = 8.0
"""Outlines whose corners agree this well, in pixels of the reduced picture, are one."""
_ALIKE_PX = 2.0
_RIM_PX = 2.0
_LEAST_AREA = 0.08
_ODD_SHAPE = 0.06
"""How far (logarithm) an outline's length over width may be from the table's before it is named.
On 66 rendered stills, tilts up to 28 degrees, it was at most 0.046 off, lens file or not."""
HEAD_DIRECTION = {
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
    "top": (0.0, -1.0),
    "bottom": (0.0, 1.0),
}


@dataclass(frozen=True, slots=True)
class ClothOutline:
    """The cloth's four sides in the picture.

    Corners run clockwise in the picture from the table's head-left corner, so the sides are
    left, foot, right, head.
    """

    corners_px: FloatArray
    """(4, 2)."""
    sides_px: tuple[FloatArray, FloatArray, FloatArray, FloatArray]
    """Outline points (n, 2) of the left, foot, right and head side."""
    fit: float
    """Overlap of the cloth with its outline, 0 … 1."""

    def aspect(self, lens: Lens | None, image_size_px: tuple[int, int]) -> float:
        """Length over width of the flat rectangle that the outline is a view of.

        By ``lens``, or by a usual one in a picture of that size where there is none.
        """
        width, height = image_size_px
        focal_px = DEFAULT_FOCAL * max(width, height)
        matrix = np.array(
            [[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1]]
        )
        bent = np.zeros(5)
        if lens is not None:
            matrix, bent = lens.matrix, np.asarray(lens.distortion)
        rays = cv2.undistortPoints(self.corners_px[:, None], matrix, bent)[:, 0]
        # head-left, foot-left, foot-right, head-right
        unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
        view = cv2.getPerspectiveTransform(unit, rays.astype(np.float32))
        return float(np.linalg.norm(view[:, 0]) / np.linalg.norm(view[:, 1]))

    def shape_words(self, table: Table, lens: Lens | None, image_size_px: tuple[int, int]) -> str:
        """What another shape than the table's says, as a sentence; empty where it is like it."""
        length_mm, width_mm = (side + 2 * table.cushion_width_mm for side in table.surface_mm)
        seen, whole = self.aspect(lens, image_size_px), length_mm / width_mm
        if abs(np.log(seen / whole)) < _ODD_SHAPE:
            return ""
        covered = "an end" if seen < whole else "a long side"
        return (
            f"The cloth in view is {seen:.2f} times as long as wide where a whole one is "
            f"{whole:.2f} times: {covered} seems to be covered or out of the picture."
        )


def find_cloth(still_bgr: ImageArray, head: str) -> Iterator[tuple[ClothOutline, ...]]:
    """Outlines that may be that of the cloth in the picture's middle, likeliest first.

    One tuple, never empty, for each way of telling cloth from what is not (``cloth_light``) that
    shows any; the next way is only tried when it is asked for. A shaded rim or rails of the
    cloth's own colour make several outlines possible; one that many limits agree on comes first,
    and what lies around each must decide.

    Raises:
        CalibrationError: none of the ways shows a four-sided cloth whole, or the head side is a
            long one.
    """
    scale = _WORK_WIDTH_PX / max(still_bgr.shape[:2])
    small = cv2.resize(still_bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    seen, fit, wrong_head = False, 0.0, None
    for distance in distances(np.asarray(small, dtype=np.uint8)):
        found = [quad for limit in _LIMITS if (quad := _quad_of(distance < limit)) is not None]
        fit = max((fit, *(quad.fit for quad in found)))
        groups = _grouped([quad for quad in found if quad.fit >= _LEAST_FIT])
        outlines: list[ClothOutline] = []
        for quad in groups:
            try:
                outlines.append(_outline(quad, head, scale))
            except CalibrationError as refused:
                wrong_head = wrong_head or refused
        if outlines:
            seen = True
            yield tuple(outlines)
    if seen:
        return
    raise wrong_head or CalibrationError(
        f"still: got no whole cloth with four straight sides around the picture's middle "
        f"(best overlap {fit:.0%}); allowed: {_LEAST_FIT:.0%} or more. Take the still so that "
        "the empty table lies in the middle, whole, with its rails, evenly lit."
    )


@dataclass(frozen=True, slots=True)
class _Quad:
    fit: float
    corners: FloatArray
    contour: FloatArray


def _grouped(quads: list[_Quad]) -> list[_Quad]:
    """Quads by groups that agree, largest group first: the best and the middle of each."""
    groups: list[list[_Quad]] = []
    for quad in quads:
        for group in groups:
            if float(np.abs(group[0].corners - quad.corners).max()) < _SAME_PX:
                group.append(quad)
                break
        else:
            groups.append([quad])
    groups.sort(key=lambda group: (-len(group), -max(q.fit for q in group)))
    out = []
    for group in groups:
        best, middle = max(group, key=lambda quad: quad.fit), group[len(group) // 2]
        out.append(best)
        if float(np.abs(best.corners - middle.corners).max()) > _ALIKE_PX:
            out.append(middle)
    return out


def _outline(quad: _Quad, head: str, scale: float) -> ClothOutline:
    ordered = _from_head(quad.corners, head)
    sides = tuple(_to_full(part, scale) for part in _by_side(quad.contour, ordered))
    return ClothOutline(
        corners_px=_to_full(ordered, scale),
        sides_px=(sides[0], sides[1], sides[2], sides[3]),
        fit=quad.fit,
    )


def _quad_of(mask: NDArray[np.bool_]) -> _Quad | None:
    """The cloth region in the middle as four sides, clockwise; None where there is none."""
    region = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(region, connectivity=4)
    height, width = region.shape
    inner = labels[int(height * 0.4) : int(height * 0.6), int(width * 0.4) : int(width * 0.6)]
    counts = np.bincount(inner.ravel(), minlength=len(stats))
    counts[0] = 0
    own = int(np.argmax(counts))
    if counts[own] == 0 or stats[own, cv2.CC_STAT_AREA] < _LEAST_AREA * region.size:
        return None
    whole = _outlined((labels == own).astype(np.uint8))
    if whole is not None and whole.fit >= _LEAST_FIT:
        return whole
    # what hides a part of the cloth, a lamp's shade or its cord, bites into it: a hull bridges that
    bridged = _outlined(_bridged((labels == own).astype(np.uint8)))
    return whole if bridged is None or bridged.fit < _LEAST_BRIDGED else bridged


def _bridged(region: ImageArray) -> ImageArray:
    """The region's convex hull, where the region fills most of it; else the region."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = np.zeros_like(region)
    cv2.fillConvexPoly(hull, cv2.convexHull(max(contours, key=cv2.contourArea)), 1)
    filled = np.count_nonzero(region) > _LEAST_OF_HULL * np.count_nonzero(hull)
    return hull if filled else region


def _outlined(region: ImageArray) -> _Quad | None:
    """Four sides around one region, clockwise; one corner may lie outside the picture."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    points = np.asarray(contour, float).reshape(-1, 2)
    height, width = region.shape
    last = np.array([width, height]) - 1
    # where the picture ends is no side of the cloth
    points = points[np.all((points >= _RIM_PX) & (points <= last - _RIM_PX), axis=1)]
    if len(points) < 4:
        return None
    corners = _refit(
        np.asarray(cv2.approxPolyN(cv2.convexHull(contour), 4), float).reshape(-1, 2), points
    )
    if corners is None or np.any((corners < -_OUTSIDE * last) | (corners > (1 + _OUTSIDE) * last)):
        return None
    if np.count_nonzero(np.any((corners < _RIM_PX) | (corners > last - _RIM_PX), axis=1)) > 1:
        return None
    filled, quad = np.zeros_like(region), np.zeros_like(region)
    cv2.drawContours(filled, [contour], -1, 1, cv2.FILLED)
    cv2.fillPoly(quad, [np.round(corners).astype(np.int32)], 1)
    union = int(np.count_nonzero((filled > 0) | (quad > 0)))
    overlap = int(np.count_nonzero((filled > 0) & (quad > 0))) / max(union, 1)
    return _Quad(overlap, _clockwise(corners), points)


def _refit(corners: FloatArray, contour: FloatArray) -> FloatArray | None:
    """Corners again from robust lines through each side's own contour points."""
    if len(corners) != 4 or not np.all(np.isfinite(corners)):
        return None
    for _ in range(3):
        lines = []
        for part in _by_side(contour, corners):
            if len(part) < 12:
                return None
            fitted = cv2.fitLine(part.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01)
            du, dv, u, v = (float(value) for value in np.asarray(fitted).ravel())
            lines.append((-dv, du, dv * u - du * v))
        crossings = [np.cross(lines[i - 1], lines[i]) for i in range(4)]
        if min(abs(float(c[2])) for c in crossings) < 1e-9:
            return None
        corners = np.array([[c[0] / c[2], c[1] / c[2]] for c in crossings])
    return corners


def _by_side(contour: FloatArray, corners: FloatArray) -> list[FloatArray]:
    """Contour points near each side's middle part, sides as from corner i to i + 1."""
    out = []
    reach = 0.02 * float(np.ptp(corners, axis=0).max())
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        part = (contour - a) @ along / max(float(np.hypot(*(b - a))), 1e-9)
        off = np.abs((contour - a) @ np.array([-along[1], along[0]]))
        out.append(contour[(part > 0.1) & (part < 0.9) & (off < reach)])
    return out


def _from_head(corners: FloatArray, head: str) -> FloatArray:
    """Corners clockwise in the picture from the head-left one."""
    mids = (corners + np.roll(corners, -1, axis=0)) / 2
    index = int(np.argmax((mids - corners.mean(axis=0)) @ np.array(HEAD_DIRECTION[head])))
    lengths = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    ends = lengths[index] + lengths[(index + 2) % 4]
    longs = lengths[(index + 1) % 4] + lengths[(index + 3) % 4]
    if ends >= longs:
        raise CalibrationError(
            f"head: got {head!r}, but the cushion on that side of the picture is a long one; "
            "allowed: the side on which the short head cushion lies, of a cloth in one colour that "
            "is in view as a whole. Give another of left, right, top, bottom, or clear the table."
        )
    return np.asarray(np.roll(corners, -(index + 1), axis=0))


def _clockwise(corners: FloatArray) -> FloatArray:
    """Corners clockwise in the picture, the one nearest its top-left first."""
    off = corners - corners.mean(axis=0)
    ordered = corners[np.argsort(np.arctan2(off[:, 1], off[:, 0]))]
    return np.asarray(np.roll(ordered, -int(np.argmin(ordered.sum(axis=1))), axis=0))


def _to_full(points: FloatArray, scale: float) -> FloatArray:
    return (points + 0.5) / scale - 0.5
