"""Shapes with holes as polygons that are told by their outer rings alone."""

from __future__ import annotations

from typing import Any

from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry


def without_holes(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of ``shape``, each cut through where it has a hole; lines fall out."""
    out: list[Polygon] = []
    parts: Any = getattr(shape, "geoms", [shape])
    for part in parts:
        if not isinstance(part, Polygon) or part.is_empty:
            continue
        if not part.interiors:
            out.append(part)
            continue
        left, low, right, high = part.bounds
        x = float(part.interiors[0].centroid.x)
        for side in (box(left, low, x, high), box(x, low, right, high)):
            out += without_holes(part.intersection(side))
    return out
