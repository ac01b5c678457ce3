"""What of the bed a camera does not see, and what no camera sees."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from shapely import MultiPoint, Point, Polygon, box, union_all
from shapely.geometry.base import BaseGeometry

from calibration.arrays import FloatArray
from calibration.kept.calibration import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.bed.hidden import LEAST_MM2
from vision.bed.rings import without_holes
from vision.layout import Polygon as Corners

from .view import View

CELL_MM = 20.0
"""Where the picture ends is told this finely."""
CORNER_MM = 2.0
"""Corners that matter less are left out."""
CLEAR_MM = 25.0
"""A place so far from all that a camera does not see is clear to it."""


@lru_cache(maxsize=8)
def unseen(view: View) -> BaseGeometry:
    """Places of ball centres that this view does not show."""
    hidden = [Polygon(corners).buffer(0) for corners in view.layout.hidden_mm]
    return union_all([outside(view.calibration), *hidden])


def is_clear(view: View, place_mm: Sequence[float]) -> bool:
    """Whether a ball at (x, y) would have been seen by this view."""
    blind = unseen(view)
    return blind.is_empty or bool(blind.distance(Point(place_mm)) > CLEAR_MM)


def seen_by_none(views: Sequence[View], places_mm: FloatArray) -> tuple[Corners, ...]:
    """Polygons, mm, in which a ball's centre could lie unseen by every camera.

    Where a ball was found, at (K, 2) mm, no other can lie.
    """
    left = unseen(views[0])
    for view in views[1:]:
        left = left.intersection(unseen(view))
    length_mm, width_mm = views[0].calibration.table.surface_mm
    if len(views) > 1:
        left = left.intersection(box(0, 0, length_mm, width_mm).buffer(BALL_RADIUS_MM * 3))
    if len(places_mm):
        left = left.difference(MultiPoint(places_mm).buffer(BALL_RADIUS_MM))
    return tuple(
        tuple((round(float(x), 1), round(float(y), 1)) for x, y in part.exterior.coords[:-1])
        for part in without_holes(left.simplify(CORNER_MM))
        if part.area >= LEAST_MM2
    )


@lru_cache(maxsize=16)
def outside(made: Calibration) -> BaseGeometry:
    """Places on the bed where a ball is not wholly inside the picture."""
    length_mm, width_mm = made.table.surface_mm
    columns, rows = (int(np.ceil(side / CELL_MM)) for side in (length_mm, width_mm))
    wide, high = length_mm / columns, width_mm / rows
    x, y = (np.arange(columns) + 0.5) * wide, (np.arange(rows) + 0.5) * high
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    cut = np.zeros(grid.shape[:2], dtype=bool)
    size = np.asarray(made.camera.image_size_px)
    for step in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        flat = (grid + BALL_RADIUS_MM * np.asarray(step)).reshape(-1, 2)
        at = made.camera.project(np.column_stack([flat, np.full(len(flat), BALL_CENTRE_HEIGHT_MM)]))
        inside = ((at >= 0) & (at <= size - 1)).all(axis=1)
        cut |= ~inside.reshape(cut.shape)
    boxes = []
    for row in np.flatnonzero(cut.any(axis=1)):
        edge = np.flatnonzero(np.diff(np.concatenate([[0], cut[row].astype(int), [0]])))
        for first, last in edge.reshape(-1, 2):
            boxes.append(box(first * wide, row * high, last * wide, (row + 1) * high))
    return union_all(boxes)
