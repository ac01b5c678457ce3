"""The cloth in the picture: its outline as four sides, the first hold on the table's pose.

The cushions wear the bed's cloth, so the outline is the seam between cushions and rail cap.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .errors import CalibrationError

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]
_WORK_WIDTH_PX = 640
_THRESHOLDS = (1.0, 1.4, 2.0, 2.8, 4.0)
"""Colour distances tried, in units of the cloth's usual spread."""
_CHROMA_SPREAD, _LIGHT_SPREAD = 7.0, 28.0
"""CIE L*a*b* spread within one cloth: lamps and wear change lightness far more than colour."""
_LEAST_FIT = 0.8
"""Least overlap (intersection over union) of cloth and its four-sided outline."""
_LEAST_AREA = 0.08
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


def find_cloth(still_bgr: ImageArray, head: str) -> ClothOutline:
    """Outline of the cloth in the picture's middle.

    Raises CalibrationError where no four-sided cloth is seen whole, or where the head side
    named is a long one.
    """
    scale = _WORK_WIDTH_PX / max(still_bgr.shape[:2])
    small = cv2.resize(still_bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    distance = _colour_distance(np.asarray(small, dtype=np.uint8))
    best: tuple[float, FloatArray, FloatArray] | None = None
    for threshold in _THRESHOLDS:
        found = _quad_of(distance < threshold)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is None or best[0] < _LEAST_FIT:
        fit = 0.0 if best is None else best[0]
        raise CalibrationError(
            f"still: got no whole cloth with four straight sides around the picture's middle "
            f"(best overlap {fit:.0%}); allowed: {_LEAST_FIT:.0%} or more. Take the still so that "
            "the empty table lies in the middle, whole, with its rails, evenly lit."
        )
    fit, corners, contour = best
    ordered = _from_head(corners, head)
    full = _to_full(ordered, scale)
    sides = tuple(_to_full(part, scale) for part in _by_side(contour, ordered))
    return ClothOutline(corners_px=full, sides_px=(sides[0], sides[1], sides[2], sides[3]), fit=fit)


def _colour_distance(small: ImageArray) -> FloatArray:
    """(h, w): distance of every pixel's colour from the cloth's in the middle."""
    smooth = cv2.GaussianBlur(small, (0, 0), 1.0)
    lab = cv2.cvtColor(smooth.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB).astype(float)
    height, width = lab.shape[:2]
    rows, columns = np.mgrid[0:height, 0:width]
    middle = ((columns / width - 0.5) / 0.22) ** 2 + ((rows / height - 0.5) / 0.18) ** 2 < 1
    cloth = np.median(lab[middle], axis=0)
    chroma = np.hypot(lab[..., 1] - cloth[1], lab[..., 2] - cloth[2]) / _CHROMA_SPREAD
    light = (lab[..., 0] - cloth[0]) / _LIGHT_SPREAD
    return np.asarray(np.hypot(chroma, light))


def _quad_of(mask: NDArray[np.bool_]) -> tuple[float, FloatArray, FloatArray] | None:
    """Overlap, corners (4, 2) and contour (n, 2) of the cloth region in the middle."""
    region = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(region, connectivity=4)
    height, width = region.shape
    inner = labels[int(height * 0.4) : int(height * 0.6), int(width * 0.4) : int(width * 0.6)]
    counts = np.bincount(inner.ravel(), minlength=len(stats))
    counts[0] = 0
    own = int(np.argmax(counts))
    if counts[own] == 0 or stats[own, cv2.CC_STAT_AREA] < _LEAST_AREA * region.size:
        return None
    contours, _ = cv2.findContours(
        (labels == own).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    contour = max(contours, key=cv2.contourArea)
    corners = _refit(
        np.asarray(cv2.approxPolyN(cv2.convexHull(contour), 4), float).reshape(-1, 2),
        np.asarray(contour, float).reshape(-1, 2),
    )
    if corners is None:
        return None
    filled, quad = np.zeros_like(region), np.zeros_like(region)
    cv2.drawContours(filled, [contour], -1, 1, cv2.FILLED)
    cv2.fillPoly(quad, [np.round(corners).astype(np.int32)], 1)
    union = int(np.count_nonzero((filled > 0) | (quad > 0)))
    overlap = int(np.count_nonzero((filled > 0) & (quad > 0))) / max(union, 1)
    return overlap, corners, np.asarray(contour, float).reshape(-1, 2)


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
    middle = corners.mean(axis=0)
    angle = np.arctan2(corners[:, 1] - middle[1], corners[:, 0] - middle[0])
    clockwise = corners[np.argsort(angle)]
    mids = (clockwise + np.roll(clockwise, -1, axis=0)) / 2
    index = int(np.argmax((mids - middle) @ np.array(HEAD_DIRECTION[head])))
    lengths = np.hypot(*(np.roll(clockwise, -1, axis=0) - clockwise).T)
    ends = lengths[index] + lengths[(index + 2) % 4]
    longs = lengths[(index + 1) % 4] + lengths[(index + 3) % 4]
    if ends >= longs:
        raise CalibrationError(
            f"head: got {head!r}, but the cushion on that side of the picture is a long one; "
            "allowed: the side on which the short head cushion lies. Give another of left, right, "
            "top, bottom."
        )
    return np.asarray(np.roll(clockwise, -(index + 1), axis=0))


def _to_full(points: FloatArray, scale: float) -> FloatArray:
    return (points + 0.5) / scale - 0.5
