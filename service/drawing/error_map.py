"""The error map: a calibration's stated error over the bed, cell by cell, seen from above."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import numpy as np

from calibration.arrays import FloatArray
from calibration.kept.budget import radius_95_mm
from calibration.kept.calibration import Calibration

from . import palette
from .frame import View, draw_table
from .svg import add, root, text_of

CELLS = (8, 16)
"""Across and along: squares of an eighth of the width, half a diamond."""
_BASE = 0.36
"""Line of a number's foot below its middle, over its size."""


def error_map_svg(calibration: Calibration, *, width_px: int = 960) -> str:
    """An <svg> element: the table from above, each cell with its stated 95 % error in mm.

    At ball height, of the calibration alone, against a tape measure. Colours are bands of fixed
    limits, so that maps of different tables can be laid side by side; the number stands in every
    cell, so that no colour needs to be told from another.
    """
    view = View(table=calibration.table, width_px=width_px, legend=True)
    error_mm = cell_errors_mm(calibration)
    svg = root(
        view.box,
        width_px,
        title="Error map of the calibration",
        description=describe_map(calibration, error_mm),
        kind="error-map",
    )
    draw_table(svg, view)
    _draw_cells(svg, view, error_mm)
    _draw_legend(svg, view, summary_words(calibration, error_mm))
    return text_of(svg)


def cell_errors_mm(calibration: Calibration) -> FloatArray:
    """(rows, columns): 95 % error in mm at the middle of each cell, from y = 0 upward."""
    rows, columns = CELLS
    length, width = calibration.table.surface_mm
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) / columns * length, (np.arange(rows) + 0.5) / rows * width
    )
    places = np.column_stack([x.ravel(), y.ravel()])
    return radius_95_mm(calibration.own_covariance_mm2(places, by_tape=True)).reshape(CELLS)


def summary_words(calibration: Calibration, error_mm: FloatArray) -> str:
    """Median and worst as the budget states them, from the cells where there is no budget."""
    budget = calibration.budget
    median_mm = float(np.median(error_mm)) if budget is None else budget.median_mm
    worst_mm = float(error_mm.max()) if budget is None else budget.worst_mm
    return f"95 % error at ball height, mm: median {median_mm:.2f}, worst {worst_mm:.2f}"


def describe_map(calibration: Calibration, error_mm: FloatArray) -> str:
    """The map in words."""
    return (
        f"Stated {summary_words(calibration, error_mm)}. Each cell is half a diamond wide and "
        f"holds the error at its middle, {error_mm.min():.2f} to {error_mm.max():.2f} mm. Head "
        "end on the left."
    )


def band(error_mm: float) -> int:
    """Index of the band of colour in which an error lies."""
    return int(np.searchsorted(palette.ERROR_LIMITS_MM, error_mm, side="left"))


def _draw_cells(svg: ET.Element, view: View, error_mm: FloatArray) -> None:
    rows, columns = error_mm.shape
    length, width = view.table.surface_mm
    high, wide = width / rows, length / columns
    size = min(0.36 * wide, 0.42 * high)
    cells = add(svg, "g", class_="cells", text_anchor="middle", font_size=size)
    for row in range(rows):
        for column in range(columns):
            value = float(error_mm[row, column])
            fill, ink = palette.ERROR_BANDS[band(value)]
            x, y = view.at((column * wide, (row + 1) * high))
            add(
                cells, "rect", x=x, y=y, width=wide, height=high, fill=fill,
                stroke=palette.CLOTH, stroke_width=2,
            )  # fmt: skip
            add(
                cells, "text", _figure(value), x=x + wide / 2, y=y + high / 2 + size * _BASE,
                fill=ink,
            )  # fmt: skip


def _figure(value: float) -> str:
    """An error in mm as it fits a cell."""
    return f"{value:.2f}" if value < 9.995 else f"{value:.0f}"


def _draw_legend(svg: ET.Element, view: View, words: str) -> None:
    left, top, _, high = view.box
    middle = top + high - view.legend_mm / 2 - view.edge_mm * 0.3
    size = 12.5 * view.mm_per_px
    strip = add(svg, "g", class_="legend", font_size=size)
    x = left + 2 * view.edge_mm
    add(strip, "text", words, x=x, y=middle + size * 0.35, fill=palette.FRAME_MUTED)
    x += size * (len(words) * 0.54 + 1.5)
    limits = [f"≤ {limit:g}" for limit in palette.ERROR_LIMITS_MM]
    for (fill, _), text in zip(
        palette.ERROR_BANDS, [*limits, f"> {palette.ERROR_LIMITS_MM[-1]:g}"], strict=True
    ):
        add(strip, "rect", x=x, y=middle - size * 0.5, width=size, height=size, fill=fill)
        add(
            strip, "text", text, x=x + size * 1.35, y=middle + size * 0.35,
            fill=palette.FRAME_MUTED,
        )  # fmt: skip
        x += size * (2.4 + 0.56 * len(text))
