"""Balls' surroundings 1:1 on A4 sheets, for paper markers on the cloth.

The bed is ruled into cells that one sheet holds. A cell in which a ball lies becomes a sheet, which
shows a ball's width more on every side, so that no ball is cut. Where a sheet lies on the table is
told by the registration marks at its cell's corners, whose distances from the rails stand beside
them; neighbouring sheets share marks, and lines through diamonds run on where a string between two
sights would.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from calibration.lens.paper import UNPRINTABLE_MM
from calibration.table import BALL_RADIUS_MM
from service.layouts.entry import KeptLayout
from service.words.balls import ball_name
from service.words.laying.guide import RAILS, nearest_rails
from service.words.plain import capital, counted
from vision.layout import Layout

from .page import A4_MM, FOOT_MM, SIDE_MM, Paper

MARGIN_MM = BALL_RADIUS_MM + 2.0
"""What a sheet shows beyond its cell."""
SHEET_MM = (A4_MM[1], A4_MM[0])
"""A sheet on its side."""
CELL_MM = (
    math.floor(SHEET_MM[0] - 2 * (UNPRINTABLE_MM + MARGIN_MM)),
    math.floor(SHEET_MM[1] - UNPRINTABLE_MM - FOOT_MM - 2 * MARGIN_MM),
)
"""Width along the table and height across it."""
_MARK_MM = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One cell of the bed: columns from the head rail, rows from the right long rail."""

    column: int
    row: int

    @property
    def name(self) -> str:
        """``C4``: the column's letter and the row's number."""
        return f"{chr(ord('A') + self.column)}{self.row + 1}"

    @property
    def low_mm(self) -> tuple[float, float]:
        """The corner nearest to the head rail and the right long rail."""
        return (self.column * CELL_MM[0], self.row * CELL_MM[1])

    @property
    def corners_mm(self) -> tuple[tuple[float, float], ...]:
        """All four corners."""
        x, y = self.low_mm
        return ((x, y), (x + CELL_MM[0], y), (x + CELL_MM[0], y + CELL_MM[1]), (x, y + CELL_MM[1]))

    def on_sheet(self, place_mm: tuple[float, float]) -> tuple[float, float]:
        """A place of the table on the sheet, from its top left."""
        x, y = self.low_mm
        left, top = UNPRINTABLE_MM + MARGIN_MM, UNPRINTABLE_MM + MARGIN_MM + CELL_MM[1]
        return (left + place_mm[0] - x, top - (place_mm[1] - y))

    def shows(self, place_mm: tuple[float, float]) -> bool:
        """Whether any part of a ball there lies on the sheet."""
        x, y = self.low_mm
        reach = MARGIN_MM + BALL_RADIUS_MM
        return (
            -reach < place_mm[0] - x < CELL_MM[0] + reach
            and -reach < place_mm[1] - y < CELL_MM[1] + reach
        )


def tiles_of(layout: Layout) -> tuple[Tile, ...]:
    """The cells that hold a ball's centre, from the head rail on."""
    cells = {
        (math.floor(ball.x_mm / CELL_MM[0]), math.floor(ball.y_mm / CELL_MM[1]))
        for ball in layout.balls
        if _on_bed(ball.centre_mm, layout.surface_mm)
    }
    return tuple(Tile(column=column, row=row) for column, row in sorted(cells))


def add_tiles(paper: Paper, kept: KeptLayout) -> None:
    """How to lay the sheets, then each of them."""
    tiles = tiles_of(kept.layout)
    _add_guidance(paper, kept, tiles)
    paper.turn_to(lying=True)
    for tile in tiles:
        _add_tile(paper, kept.layout, tile)
        paper.end_page(f"{kept.title}  ·  sheet {tile.name}")
    paper.turn_to(lying=False)


def _on_bed(place: tuple[float, float], surface: tuple[float, float]) -> bool:
    return all(0 <= v <= side for v, side in zip(place, surface, strict=True))


def _add_guidance(paper: Paper, kept: KeptLayout, tiles: tuple[Tile, ...]) -> None:
    y = 20.0
    paper.text(SIDE_MM, y, "Markers, true to scale", 16, bold=True)
    y = paper.paragraph(
        y + 1,
        f"{capital(counted(len(tiles), 'sheet'))}. Check the bar on a sheet before you use it: it "
        "must measure 100 mm. Lay a sheet on the cloth so that its crosses lie as far from the "
        "noses of the rails as stands beside them; dashed lines run where a string between two "
        "sights would. Set each marker under the middle of its ring, then take the sheet away: "
        "paper under a ball changes how it rolls.",
    )
    y = paper.paragraph(
        y + 2,
        "Markers stay on the cloth only while they do not lie in a ball's way. Lean on the rail, "
        "not on the cloth, and step on nothing to reach the middle of the table.",
        9,
    )
    y += 9
    for tile in tiles:
        names = [b.id for b in kept.layout.balls if _in_cell(b.centre_mm, tile)]
        words = ", ".join(ball_name(name) for name in names)
        paper.text(SIDE_MM, y, f"Sheet {tile.name}", 10.5, bold=True)
        paper.text(SIDE_MM + 30, y, words, 10.5, room_mm=paper.room_mm - 30)
        y += 6
    paper.end_page(kept.title)


def _in_cell(place_mm: tuple[float, float], tile: Tile) -> bool:
    x, y = tile.low_mm
    return 0 <= place_mm[0] - x < CELL_MM[0] and 0 <= place_mm[1] - y < CELL_MM[1]


def _add_tile(paper: Paper, layout: Layout, tile: Tile) -> None:
    for (x1, y1), (x2, y2), words in _lines(layout.surface_mm, tile):
        dash = () if words == "nose" else (3.0, 2.0)
        paper.line(x1, y1, x2, y2, dash_mm=dash, gray=0.25 if words == "nose" else 0.55)
        paper.text(x1 + 1, y1 + (3.2 if y1 == y2 else 4.0), words, 7, muted=True)
    for corner in tile.corners_mm:
        _add_mark(paper, tile, corner, layout.surface_mm)
    for ball in layout.balls:
        if tile.shows(ball.centre_mm):
            x, y = tile.on_sheet(ball.centre_mm)
            paper.circle(x, y, BALL_RADIUS_MM)
            for dx, dy in ((6.0, 0.0), (0.0, 6.0)):
                paper.line(x - dx, y - dy, x + dx, y + dy)
            paper.text(x, y - 9, capital(ball_name(ball.id)), 11, bold=True, align="middle")
            for k, (rail, mm) in enumerate(nearest_rails(ball.centre_mm, layout.surface_mm)):
                words = f"{mm:.1f} mm from {RAILS[rail]}"
                paper.text(x, y + 11 + 3.6 * k, words, 7, align="middle", room_mm=52)


def _add_mark(
    paper: Paper, tile: Tile, corner_mm: tuple[float, float], surface_mm: tuple[float, float]
) -> None:
    """A cross with a ring, and its distances from the two nearer rails."""
    x, y = tile.on_sheet(corner_mm)
    for dx, dy in ((_MARK_MM, 0.0), (0.0, _MARK_MM)):
        paper.line(x - dx, y - dy, x + dx, y + dy, wide_mm=0.15)
    paper.circle(x, y, 2.5, wide_mm=0.15)
    low_x = corner_mm[0] == tile.low_mm[0]
    at = x + (3.5 if low_x else -3.5)
    for k, (rail, mm) in enumerate(nearest_rails(corner_mm, surface_mm)):
        # a cell at the far end may reach past the nose
        words = (
            f"{mm:.0f} mm from {RAILS[rail]}" if mm >= 0 else f"{-mm:.0f} mm beyond {RAILS[rail]}"
        )
        paper.text(at, y + 4.5 + 3.2 * k, words, 6.5, align="left" if low_x else "right")


def _lines(
    surface_mm: tuple[float, float], tile: Tile
) -> Iterator[tuple[tuple[float, float], tuple[float, float], str]]:
    """Noses and lines between sights that cross the sheet, in its millimetres."""
    (length, width), (low_x, low_y) = surface_mm, tile.low_mm
    left, right = low_x - MARGIN_MM, low_x + CELL_MM[0] + MARGIN_MM
    low, high = low_y - MARGIN_MM, low_y + CELL_MM[1] + MARGIN_MM
    for k in range(9):
        x = length * k / 8
        if left <= x <= right:
            words = "nose" if k in (0, 8) else f"diamond {k} of the long rails"
            yield tile.on_sheet((x, high)), tile.on_sheet((x, low)), words
    for k in range(5):
        y = width * k / 4
        if low <= y <= high:
            words = "nose" if k in (0, 4) else f"diamond {k} of the short rails"
            yield tile.on_sheet((left, y)), tile.on_sheet((right, y)), words
