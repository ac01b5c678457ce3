"""Whether something that is neither cloth nor ball lies over the playing surface.

An arm, a cue or a body over the bed makes a reading untrustworthy. A player's shadow is cloth
in less light; chalk is small; what lies on the rails is not over the bed.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

from .cloth import Float32
from .footprint import Footprint
from .topview import TopView

FloatArray = NDArray[np.float64]
INSIDE_MM = 30.0
"""What reaches less far over the bed than this leaves every place readable."""
THINNEST_MM = 10.0
"""Thinner things are lines and marks on the cloth; a cue's shaft is 12 mm or more."""
LEAST_AREA_MM2 = 1800.0
"""About a finger; less is chalk."""
LEAST_EXTENT_MM = 150.0
"""Longer than two balls side by side with their shadows: no balls that were overlooked."""
AROUND_MM = 9.0
"""A ball's contact shadow reaches this far beyond its outline."""


TRUSTED_RING = 0.3
"""Share of the ring about a ball that may be foreign and no ball; more is an arm or a cue."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstruction:
    """Something large over the bed."""

    area_mm2: float
    extent_mm: float
    middle_mm: tuple[float, float]


def find_obstructions(
    foreign: Float32, view: TopView, camera: Camera, balls_mm: FloatArray
) -> tuple[Obstruction, ...]:
    """Large things over the bed, largest first.

    ``foreign`` is 1 where the top view is not cloth. ``balls_mm`` (N, 2) explain what lies
    within their outlines, unless they sit in something foreign themselves (a hand's knuckle
    can look like a ball).
    """
    bare = (foreign > 0.5).astype(np.uint8)
    bare[~_inside(view)] = 0
    trusted = trusted_balls(foreign, view, camera, balls_mm)
    rest = _without(bare, view, camera, balls_mm[trusted])
    size = max(round(THINNEST_MM / view.scale_mm), 2)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    opened = cv2.morphologyEx(rest, cv2.MORPH_OPEN, kernel)
    joined = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, middles = cv2.connectedComponentsWithStats(joined, connectivity=8)
    found = []
    for k in range(1, count):
        area = float(stats[k, cv2.CC_STAT_AREA]) * view.scale_mm**2
        if area < LEAST_AREA_MM2:
            continue
        extent = _extent(labels == k) * view.scale_mm
        if extent >= LEAST_EXTENT_MM:
            x, y = view.to_table(middles[k])[0]
            found.append(
                Obstruction(area_mm2=area, extent_mm=extent, middle_mm=(float(x), float(y)))
            )
    return tuple(sorted(found, key=lambda thing: -thing.area_mm2))


def trusted_balls(
    foreign: Float32, view: TopView, camera: Camera, balls_mm: FloatArray
) -> NDArray[np.bool_]:
    """Whether each ball (N, 2) lies on cloth or among balls, not in something foreign."""
    bare = (foreign > 0.5).astype(np.uint8)
    bare[~_inside(view)] = 0
    rest = _without(bare, view, camera, balls_mm).astype(np.float32)
    angle = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    directions = np.column_stack([np.cos(angle), np.sin(angle)])
    out = np.ones(len(balls_mm), dtype=bool)
    for k, centre in enumerate(balls_mm):
        prints = Footprint.at(camera, np.broadcast_to(centre, directions.shape))
        reach = prints.reach(directions)
        rings = [reach + AROUND_MM + more for more in (3.0, 8.0)]
        places = np.concatenate([centre + r[:, None] * directions for r in rings])
        at = view.to_view(places).astype(np.float32)
        share = cv2.remap(rest, at[:, :1], at[:, 1:], cv2.INTER_LINEAR)
        out[k] = float(np.mean(share)) <= TRUSTED_RING
    return out


def _without(
    bare: NDArray[np.uint8], view: TopView, camera: Camera, balls_mm: FloatArray
) -> NDArray[np.uint8]:
    """A copy with the balls' outlines, a little widened, blanked."""
    out = bare.copy()
    for outline in _outlines(view, camera, balls_mm):
        cv2.fillPoly(out, [outline], 0)
    return out


def _inside(view: TopView) -> NDArray[np.bool_]:
    rows, columns = view.shape
    at = view.to_table(np.column_stack([np.arange(columns), np.zeros(columns)]))[:, 0]
    up = view.to_table(np.column_stack([np.zeros(rows), np.arange(rows)]))[:, 1]
    length, width = view.table.surface_mm
    along = (at > INSIDE_MM) & (at < length - INSIDE_MM)
    across = (up > INSIDE_MM) & (up < width - INSIDE_MM)
    return np.asarray(across[:, None] & along[None, :])


def _outlines(view: TopView, camera: Camera, balls_mm: FloatArray) -> list[NDArray[np.int32]]:
    """Balls' outlines in the top view, a little widened, as integer polygons."""
    angle = np.linspace(0, 2 * np.pi, 36, endpoint=False)
    directions = np.column_stack([np.cos(angle), np.sin(angle)])
    out = []
    for centre in balls_mm:
        prints = Footprint.at(camera, np.broadcast_to(centre, directions.shape))
        edge = centre + (prints.reach(directions) + AROUND_MM)[:, None] * directions
        out.append(np.round(view.to_view(edge)).astype(np.int32))
    return out


def _extent(mask: NDArray[np.bool_]) -> float:
    """Longest side of the least rectangle round a region, px."""
    rows, columns = np.nonzero(mask)
    (_, (wide, high), _) = cv2.minAreaRect(np.column_stack([columns, rows]).astype(np.float32))
    return float(max(wide, high)) + 1.0
