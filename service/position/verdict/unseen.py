"""What a layout could not see: where a ball could lie hidden, and whether that matters."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, PointMm
from vision.layout import Layout


def hidden_area(layout: Layout) -> MultiPolygon:
    """All of the bed in which a ball's centre could lie unseen, mm."""
    parts = [Polygon(corners).buffer(0) for corners in layout.hidden_mm]
    whole = [each for part in parts for each in getattr(part, "geoms", [part]) if not each.is_empty]
    return MultiPolygon(whole)


def hides_place(layout: Layout, place_mm: PointMm) -> bool:
    """Whether a ball known to lie there would be hidden, or touch what is."""
    area = hidden_area(layout)
    return not area.is_empty and bool(area.distance(Point(place_mm)) <= BALL_RADIUS_MM)


def hides_way(layout: Layout, way_mm: Sequence[PointMm]) -> bool:
    """Whether a ball that lies hidden could be in the way of one rolling along these places."""
    area = hidden_area(layout)
    return not area.is_empty and bool(area.distance(LineString(way_mm)) < BALL_DIAMETER_MM)


def not_seen(what: str) -> str:
    """What is said of a ball that is missing while a part of the bed is hidden."""
    return f"{what} is not seen: it may be down, or lie hidden by what is over the bed"
