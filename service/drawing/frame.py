"""The empty table as seen from above: rails with sights, cushions, cloth, pockets to scale.

It lies with the head end on the left, or is turned by quarters, as seen from another side of the
table. What does not move is drawn lying and turned as a whole; what carries words or numbers is
put at turned places and stays upright.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from xml.etree import ElementTree as ET

from calibration.table import Pocket, PointMm, Table

from . import palette
from .svg import add, number, path

_LEAST_RAIL_MM = 90.0
_LEAST_HOLE_MM = 44.0


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """From the table frame (mm, y up) to the drawing (mm, y down), and px to drawing mm."""

    table: Table
    width_px: int
    legend: bool
    """Whether a strip for the legend is kept under the table."""
    small: bool = False
    """Balls are drawn larger than they are, their middles stay: read on a small picture."""
    turn: int = 0
    """Quarter turns counter-clockwise: 1 has the foot end up, as seen from the head end."""

    @property
    def rail_mm(self) -> float:
        """Rail width as drawn: at least enough to hold the pockets and sights."""
        return max(self.table.rail_width_mm, _LEAST_RAIL_MM)

    @property
    def edge_mm(self) -> float:
        """Frame around the rails."""
        return 26.0

    @property
    def mm_per_px(self) -> float:
        """Drawing millimetres in one px of the drawing's nominal width."""
        return (self.size_mm[0] + 2 * (self.rail_mm + self.edge_mm)) / self.width_px

    @property
    def size_mm(self) -> tuple[float, float]:
        """The playing surface as it is turned: across and down the drawing."""
        length, width = self.table.surface_mm
        return (width, length) if self.turn % 2 else (length, width)

    @property
    def legend_mm(self) -> float:
        """Height of the legend strip."""
        return 46 * self.mm_per_px if self.legend else 0.0

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The viewBox: least x, least y, width, height."""
        out = self.rail_mm + self.edge_mm
        wide, high = self.size_mm
        return (-out, -out, wide + 2 * out, high + 2 * out + self.legend_mm)

    def at(self, point_mm: PointMm) -> tuple[float, float]:
        """A table point in the drawing."""
        (length, width), (x, y) = self.table.surface_mm, point_mm
        places = ((x, width - y), (width - y, length - x), (length - x, y), (y, x))
        return places[self.turn]

    @property
    def turned(self) -> str:
        """The transform of what is drawn lying."""
        length, width = map(number, self.table.surface_mm)
        return (
            "matrix(1 0 0 1 0 0)",
            f"matrix(0 -1 1 0 0 {length})",
            f"matrix(-1 0 0 -1 {length} {width})",
            f"matrix(0 1 -1 0 {width} 0)",
        )[self.turn]

    def ring(self, points_mm: Iterable[Sequence[float]]) -> list[tuple[float, float]]:
        """A ring of table points in the drawing."""
        return [self.at((float(x), float(y))) for x, y in points_mm]


def draw_table(svg: ET.Element, view: View) -> None:
    """Everything that does not move, from the frame up to the cushions."""
    x, y, wide, high = view.box
    add(svg, "rect", x=x, y=y, width=wide, height=high, rx=46, fill=palette.FRAME)
    lying = replace(view, turn=0)
    whole = add(svg, "g", class_="table")
    if view.turn:
        whole.set("transform", view.turned)
    _draw_rails(whole, lying)
    _draw_bed(whole, lying)
    for pocket in view.table.pockets:
        _draw_pocket(whole, lying, pocket)
    _draw_cushions(whole, lying)
    _draw_sights(whole, lying)
    _draw_ends(svg, view)


def _draw_rails(svg: ET.Element, view: View) -> None:
    length, width = view.table.surface_mm
    for out, fill in (
        (view.rail_mm, palette.WOOD_EDGE),
        (view.rail_mm - 7, palette.WOOD),
        (view.table.cushion_width_mm + 5, palette.CAP_LINE),
    ):
        add(
            svg, "rect", x=-out, y=-out, width=length + 2 * out, height=width + 2 * out,
            rx=max(6.0, out - 96), fill=fill,
        )  # fmt: skip


def _draw_bed(svg: ET.Element, view: View) -> None:
    table = view.table
    back = table.cushion_width_mm
    add(
        svg, "rect", x=-back, y=-back, width=table.length_mm + 2 * back,
        height=table.width_mm + 2 * back, fill=palette.CLOTH, class_="cloth",
    )  # fmt: skip
    marks = add(svg, "g", stroke=palette.CLOTH_LINE, stroke_width=3, fill="none")
    for name in ("head", "foot"):
        (ax, ay), (bx, by) = (view.at(p) for p in table.strings_mm[name])
        add(marks, "line", x1=ax, y1=ay, x2=bx, y2=by, stroke_dasharray="3 17")
    for x, y in (view.at(p) for p in table.spots_mm.values()):
        add(marks, "circle", cx=x, cy=y, r=7, fill=palette.CLOTH_LINE, stroke="none")


def _draw_pocket(svg: ET.Element, view: View, pocket: Pocket) -> None:
    """The hole behind the shelf; its size follows the mouth, held inside the rail."""
    room = (view.rail_mm - 8 - pocket.shelf_mm) / 2 if pocket.name.startswith("side") else 1e9
    radius = max(_LEAST_HOLE_MM, min(pocket.mouth_mm / 2 + 2, room))
    reach = pocket.shelf_mm + radius
    centre = (
        pocket.aim_mm[0] + pocket.inward[0] * reach,
        pocket.aim_mm[1] + pocket.inward[1] * reach,
    )
    x, y = view.at(centre)
    add(
        svg, "circle", cx=x, cy=y, r=radius, fill=palette.HOLE, stroke=palette.LINER,
        stroke_width=9,
    )  # fmt: skip


def _draw_cushions(svg: ET.Element, view: View) -> None:
    table = view.table
    body = add(svg, "g", fill=palette.CUSHION, class_="cushions")
    noses = add(svg, "g", stroke=palette.NOSE, stroke_width=5, stroke_linecap="round")
    for segment in table.nose_segments_mm.values():
        start, end = segment
        ring = [start, end, _facing_end_mm(table, end, start), _facing_end_mm(table, start, end)]
        add(body, "path", d=path([view.ring(ring)]))
        (ax, ay), (bx, by) = view.at(start), view.at(end)
        add(noses, "line", x1=ax, y1=ay, x2=bx, y2=by)


def _facing_end_mm(table: Table, nose: PointMm, other: PointMm) -> PointMm:
    """Where the facing that starts at ``nose`` meets the rail cap; ``other`` is the far nose."""
    span = math.dist(nose, other)
    along = ((other[0] - nose[0]) / span, (other[1] - nose[1]) / span)
    middle = (table.length_mm / 2, table.width_mm / 2)
    square = (-along[1], along[0])
    if square[0] * (middle[0] - nose[0]) + square[1] * (middle[1] - nose[1]) > 0:
        square = (-square[0], -square[1])
    near_side = abs(nose[0] - middle[0]) < table.length_mm / 4 and abs(along[0]) > 0.5
    cut = math.radians(table.side_cut_deg if near_side else table.corner_cut_deg)
    run = table.cushion_width_mm / math.tan(cut) if math.sin(cut) > 0.1 else 0.0
    return (
        nose[0] + along[0] * run + square[0] * table.cushion_width_mm,
        nose[1] + along[1] * run + square[1] * table.cushion_width_mm,
    )


def _draw_sights(svg: ET.Element, view: View) -> None:
    sights = add(svg, "g", fill=palette.SIGHT)
    for name, point in view.table.sights_mm.items():
        x, y = view.at(point)
        long_mm, short_mm = (8.0, 14.0) if name.startswith(("left", "right")) else (14.0, 8.0)
        add(
            sights, "path",
            d=path([[(x - long_mm, y), (x, y - short_mm), (x + long_mm, y), (x, y + short_mm)]]),
        )  # fmt: skip


def _draw_ends(svg: ET.Element, view: View) -> None:
    """The words head and foot on the short rails."""
    size = min(13 * view.mm_per_px, 0.3 * view.rail_mm)
    out = view.table.sight_offset_mm
    aside = view.table.width_mm * 5 / 8
    for word, along in (("head", -out), ("foot", view.table.length_mm + out)):
        x, y = view.at((along, aside))
        # written along the rail; upright where the rail runs across the drawing
        turn = 0 if view.turn % 2 else (-90 if x < 0 else 90)
        add(
            svg, "text", word, transform=f"translate({number(x)} {number(y)}) "
            f"rotate({turn})", text_anchor="middle", dominant_baseline="central",
            font_size=size, letter_spacing=size * 0.14, fill=palette.SIGHT, opacity=0.75,
            class_="end-word",
        )  # fmt: skip
