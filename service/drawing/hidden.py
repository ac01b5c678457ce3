"""Where a ball could lie unseen: hatched, with a word in it, so that it is told without colour."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from shapely.geometry import LineString, Polygon

from calibration.table import PointMm

from . import palette
from .frame import View
from .svg import add, points

HIDDEN, BLIND = "hidden", "out of the picture"
"""The words: something stands before it in this still, or the camera never sees it."""
HATCH_MM = 24.0
"""Between two lines of the hatching."""
_GLYPH_SHARE = 0.56
"""Mean width of a letter over its size."""


def draw_hidden(
    svg: ET.Element, view: View, hidden_mm: Sequence[Sequence[PointMm]], *, word: str = HIDDEN
) -> None:
    """Polygons on the plane of the ball centres, hatched; ``word`` stands in each."""
    group = add(svg, "g", class_="hidden", fill="none", stroke=palette.DOUBT, stroke_width=3.5)
    add(group, "title", f"{word}: a ball could lie here unseen")
    # on a dark line each, so that pale ground shows them too
    under = add(group, "g", stroke=palette.FRAME, stroke_width=8, opacity=0.55)
    for polygon in hidden_mm:
        for line in hatching(polygon):
            add(under, "polyline", points=points(view.ring(line)))
            add(group, "polyline", points=points(view.ring(line)))
        add(under, "polygon", points=points(view.ring(polygon)))
        add(group, "polygon", points=points(view.ring(polygon)), stroke_dasharray="14 8")
    for polygon in hidden_mm:
        _draw_word(group, view, polygon, word)


def _draw_word(group: ET.Element, view: View, polygon_mm: Sequence[PointMm], word: str) -> None:
    """The word in the middle of its part, on a ground of its own, held inside the drawing."""
    shape = Polygon(polygon_mm).buffer(0)
    if shape.is_empty:
        return
    middle = shape.representative_point()
    size = 13 * view.mm_per_px
    half = size * (_GLYPH_SHARE * len(word) / 2 + 0.5)
    x, y = view.at((float(middle.x), float(middle.y)))
    x = min(max(x, half), view.size_mm[0] - half)
    add(
        group, "rect", x=x - half, y=y - 0.75 * size, width=2 * half, height=1.5 * size,
        rx=size * 0.4, fill=palette.FRAME, stroke="none",
    )  # fmt: skip
    add(
        group, "text", word, x=x, y=y + size * 0.35, text_anchor="middle", font_size=size,
        font_weight="700", fill=palette.DOUBT, stroke="none",
    )  # fmt: skip


def hatching(polygon_mm: Sequence[PointMm]) -> list[tuple[PointMm, PointMm]]:
    """Slanting lines through a polygon, mm."""
    shape = Polygon(polygon_mm).buffer(0)
    if shape.is_empty:
        return []
    left, low, right, high = shape.bounds
    rise = high - low
    out = []
    for k in range(int((right - left + rise) / HATCH_MM) + 1):
        x = left - rise + (k + 0.5) * HATCH_MM
        cut = shape.intersection(LineString([(x, low), (x + rise, high)]))
        for part in getattr(cut, "geoms", [cut]):
            if part.geom_type == "LineString" and not part.is_empty:
                a, b = part.coords[0], part.coords[-1]
                out.append(((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))))
    return out
