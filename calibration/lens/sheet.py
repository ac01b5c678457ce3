"""The lens board as a PDF true to scale: one vector outline, a ruler bar, what to type later."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from shapely import Polygon, box, union_all

from calibration import jsonfile
from calibration.arrays import FloatArray

from .board import BoardPattern
from .paper import CAPTION_MM, UNPRINTABLE_MM, Sheet

POINTS_A_MM = 72.0 / 25.4
"""PDF lengths are points, 1/72 of an inch."""
RULER_MM = 100.0
"""Length of the bar by which a print is checked."""
_EVEN_ODD = 0
"""The canvas's own code of the rule, which its type stubs leave out."""
_BLOCK_MM = 10.0
_BAR_LEFT_MM = 10.0
_FONT = "Helvetica"
_FONT_PT = 6.0
_LINE_MM = 2.3


def write_sheet(path: Path | str, sheet: Sheet) -> None:
    """Write the PDF of ``sheet``, whole or not at all.

    Raises:
        FileFormatError: the place cannot be written.
    """
    jsonfile.write_bytes(path, sheet_pdf(sheet))


def sheet_pdf(sheet: Sheet) -> bytes:
    """One page of PDF, the same bytes for the same sheet."""
    held = BytesIO()
    width_mm, height_mm = sheet.page_mm
    canvas = Canvas(
        held, pagesize=(width_mm * POINTS_A_MM, height_mm * POINTS_A_MM), invariant=True
    )
    canvas.setTitle("Lens board")
    canvas.setSubject(f"restmark lens {sheet.board.options}")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setFillGray(0)
    _draw_pattern(canvas, sheet)
    bar_left_mm = min(_BAR_LEFT_MM, sheet.corner_mm[0])
    draw_ruler(canvas, bar_left_mm)
    text_left_mm = bar_left_mm + RULER_MM + 4.0
    _draw_lines(canvas, text_left_mm, width_mm - UNPRINTABLE_MM - text_left_mm, _lines(sheet.board))
    canvas.showPage()
    canvas.save()
    return held.getvalue()


def black_outlines_mm(board: BoardPattern) -> Iterator[FloatArray]:
    """Rings (N, 2) in mm of the board's frame, y down, that bound the black under even-odd.

    Outlines instead of a box a module: neighbouring boxes show seams in print.
    """
    # the board's own object says where its markers lie; white squares are those that hold one
    columns, rows = board.squares
    row, column = np.mgrid[0:rows, 0:columns]
    for at_row, at_column in np.argwhere((row + column) % 2 == 0):
        yield _ring(box(at_column, at_row, at_column + 1, at_row + 1)) * board.square_mm
    if board.pattern == "charuco":
        yield from _marker_outlines_mm(board)


def _marker_outlines_mm(board: BoardPattern) -> Iterator[FloatArray]:
    pattern = board.charuco()
    dictionary = pattern.getDictionary()
    modules = dictionary.markerSize + 2
    for marker, corners in zip(
        np.asarray(pattern.getIds()).ravel(), pattern.getObjPoints(), strict=True
    ):
        picture = np.asarray(dictionary.generateImageMarker(int(marker), modules, borderBits=1))
        black = union_all([box(u, v, u + 1, v + 1) for v, u in np.argwhere(picture == 0)])
        origin = np.asarray(corners, dtype=float)[0, :2]
        for part in getattr(black, "geoms", [black]):
            for ring in (part.exterior, *part.interiors):
                yield origin + _ring(Polygon(ring)) * board.marker_mm / modules


def _ring(polygon: Polygon) -> FloatArray:
    return np.asarray(polygon.exterior.coords, dtype=float)[:-1]


def _draw_pattern(canvas: Canvas, sheet: Sheet) -> None:
    left_mm, top_mm = sheet.corner_mm
    path = canvas.beginPath()
    for ring in black_outlines_mm(sheet.board):
        x_pt = (ring[:, 0] + left_mm) * POINTS_A_MM
        y_pt = (sheet.page_mm[1] - top_mm - ring[:, 1]) * POINTS_A_MM
        path.moveTo(float(x_pt[0]), float(y_pt[0]))
        for x, y in zip(x_pt[1:], y_pt[1:], strict=True):
            path.lineTo(float(x), float(y))
        path.close()
    canvas.drawPath(path, stroke=0, fill=1, fillMode=_EVEN_ODD)


def draw_ruler(canvas: Canvas, left_mm: float) -> None:
    """A bar of blocks between two end strokes whose outer edges lie ``RULER_MM`` apart."""
    stroke_mm, low_mm = 0.3, UNPRINTABLE_MM + 0.2
    for edge_mm in (left_mm, left_mm + RULER_MM - stroke_mm):
        _box(canvas, edge_mm, low_mm, stroke_mm, 4.0)
    for rail_mm in (low_mm + 0.6, low_mm + 2.4 - 0.15):
        _box(canvas, left_mm, rail_mm, RULER_MM, 0.15)
    for block in range(0, round(RULER_MM / _BLOCK_MM), 2):
        _box(canvas, left_mm + block * _BLOCK_MM, low_mm + 0.6, _BLOCK_MM, 1.8)
    canvas.setFont(_FONT, _FONT_PT)
    y_pt = (low_mm + 2.9) * POINTS_A_MM
    canvas.drawString((left_mm + 1.0) * POINTS_A_MM, y_pt, "0")
    canvas.drawRightString((left_mm + RULER_MM - 1.0) * POINTS_A_MM, y_pt, f"{RULER_MM:g} mm")


def _box(canvas: Canvas, left_mm: float, low_mm: float, wide_mm: float, high_mm: float) -> None:
    left, low, wide, high = (v * POINTS_A_MM for v in (left_mm, low_mm, wide_mm, high_mm))
    canvas.rect(left, low, wide, high, stroke=0, fill=1)


def _lines(board: BoardPattern) -> tuple[str, str, str]:
    first, *rest = board.options.split(" --marker-mm")
    wide_mm, high_mm = board.size_mm
    whole = f"Whole pattern {wide_mm:g} x {high_mm:g} mm."
    tail = f"--marker-mm{rest[0]}   {whole}" if rest else whole
    return (
        "Print at 100 %, no scaling. If the bar is not 100 mm, give its length as --ruler-mm.",
        f"restmark lens STILLS {first}",
        tail,
    )


def _draw_lines(canvas: Canvas, left_mm: float, room_mm: float, lines: Sequence[str]) -> None:
    """Lines from the strip's top downward, smaller where the room asks for it."""
    widest_pt = max(stringWidth(line, _FONT, _FONT_PT) for line in lines)
    size_pt = _FONT_PT * min(1.0, room_mm * POINTS_A_MM / widest_pt)
    canvas.setFont(_FONT, size_pt)
    first_mm = UNPRINTABLE_MM + CAPTION_MM - 3.8
    for index, line in enumerate(lines):
        y_mm = first_mm - index * _LINE_MM
        canvas.drawString(left_mm * POINTS_A_MM, y_mm * POINTS_A_MM, line)
