"""What of the bed lies beyond the picture: a camera under a low ceiling may see a part alone."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from shapely import box, union_all
from shapely.geometry.base import BaseGeometry

from calibration.kept.calibration import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.layout import Polygon as Corners

from .rings import without_holes

CELL_MM = 20.0
"""Where the picture ends is told this finely."""
_STRAIGHT_MM = 0.1
"""Corners that stand out no farther lie on a straight side."""


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


def outside_mm(made: Calibration) -> tuple[Corners, ...]:
    """The same as polygons, mm."""
    return tuple(
        tuple((float(x), float(y)) for x, y in part.exterior.coords[:-1])
        for part in without_holes(outside(made).simplify(_STRAIGHT_MM))
    )
