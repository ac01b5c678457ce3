"""What of the bed a camera does not see, and what no camera sees."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from shapely import MultiPoint, Point, Polygon, box, union_all
from shapely.geometry.base import BaseGeometry

from calibration.arrays import FloatArray
from calibration.table import BALL_RADIUS_MM
from vision.bed.hidden import LEAST_MM2
from vision.bed.outside import outside
from vision.bed.rings import without_holes
from vision.layout import Polygon as Corners

from .view import View

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
