"""The error map: a calibration's stated error over the bed, cell by cell, seen from above."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

import numpy as np

from calibration.arrays import FloatArray
from calibration.kept.budget import radius_95_mm
from calibration.kept.calibration import Calibration
from calibration.table import PointMm

from . import palette
from .frame import View, draw_table
from .hidden import BLIND, HIDDEN, draw_hidden
from .legend import draw_bands
from .svg import add, root, text_of

CELLS = (8, 16)
"""Across and along: squares of an eighth of the width, half a diamond."""
_BASE = 0.36
"""Line of a number's foot below its middle, over its size."""


def error_map_svg(
    calibration: Calibration,
    *,
    blind_mm: Sequence[Sequence[PointMm]] = (),
    hidden_mm: Sequence[Sequence[PointMm]] = (),
    width_px: int = 960,
    by_tape: bool = True,
    turn: int = 0,
) -> str:
    """An <svg> element: the table from above, each cell with its stated 95 % error in mm.

    At ball height, of the calibration alone, against a tape measure, or else against the noses
    all round, which is what readings carry. Colours are bands of fixed limits, so that maps of
    different tables can be laid side by side; the number stands in every cell, so that no colour
    needs to be told from another. ``turn`` counts quarter turns; an upright map leaves the words
    of its legend to whoever shows it. ``blind_mm`` lies outside of the picture, ``hidden_mm``
    behind something that hangs there: both are hatched.
    """
    view = View(table=calibration.table, width_px=width_px, legend=True, turn=turn)
    error_mm = cell_errors_mm(calibration, by_tape=by_tape)
    svg = root(
        view.box,
        width_px,
        title="Error map of the calibration",
        description=describe_map(calibration, error_mm, by_tape=by_tape),
        kind="error-map",
    )
    draw_table(svg, view)
    _draw_cells(svg, view, error_mm)
    if blind_mm:
        draw_hidden(svg, view, blind_mm, word=BLIND)
    if hidden_mm:
        draw_hidden(svg, view, hidden_mm, word=HIDDEN)
    limits = [f"≤ {limit:g}" for limit in palette.ERROR_LIMITS_MM]
    limits.append(f"> {palette.ERROR_LIMITS_MM[-1]:g}")
    words = "mm" if turn % 2 else summary_words(calibration, error_mm, by_tape=by_tape)
    draw_bands(svg, view, words, zip(palette.ERROR_BANDS, limits, strict=True))
    return text_of(svg)


def cell_errors_mm(calibration: Calibration, *, by_tape: bool = True) -> FloatArray:
    """(rows, columns): 95 % error in mm at the middle of each cell, from y = 0 upward."""
    rows, columns = CELLS
    length, width = calibration.table.surface_mm
    x, y = np.meshgrid(
        (np.arange(columns) + 0.5) / columns * length, (np.arange(rows) + 0.5) / rows * width
    )
    places = np.column_stack([x.ravel(), y.ravel()])
    return radius_95_mm(calibration.own_covariance_mm2(places, by_tape=by_tape)).reshape(CELLS)


def summary_words(calibration: Calibration, error_mm: FloatArray, *, by_tape: bool = True) -> str:
    """Median and worst as the budget states them, from the cells where there is no budget."""
    budget = calibration.budget
    if budget is None:
        median_mm, worst_mm = float(np.median(error_mm)), float(error_mm.max())
    elif by_tape:
        median_mm, worst_mm = budget.median_mm, budget.worst_mm
    else:
        median_mm, worst_mm = budget.noses_median_mm, budget.noses_worst_mm
    return f"95 % error at ball height, mm: median {median_mm:.2f}, worst {worst_mm:.2f}"


def describe_map(calibration: Calibration, error_mm: FloatArray, *, by_tape: bool = True) -> str:
    """The map in words."""
    stated = summary_words(calibration, error_mm, by_tape=by_tape)
    return (
        f"Stated {stated}. Each cell is half a diamond wide and holds the error at its middle, "
        f"{error_mm.min():.2f} to {error_mm.max():.2f} mm. Head end on the left."
    )


def band(error_mm: float) -> int:
    """Index of the band of colour in which an error lies."""
    return int(np.searchsorted(palette.ERROR_LIMITS_MM, error_mm, side="left"))


def _draw_cells(svg: ET.Element, view: View, error_mm: FloatArray) -> None:
    rows, columns = error_mm.shape
    length, width = view.table.surface_mm
    high, wide = width / rows, length / columns
    across, down = (high, wide) if view.turn % 2 else (wide, high)
    size = min(0.36 * across, 0.42 * down)
    cells = add(svg, "g", class_="cells", text_anchor="middle", font_size=size)
    for row in range(rows):
        for column in range(columns):
            value = float(error_mm[row, column])
            fill, ink = palette.ERROR_BANDS[band(value)]
            x, y = view.at(((column + 0.5) * wide, (row + 0.5) * high))
            add(
                cells, "rect", x=x - across / 2, y=y - down / 2, width=across, height=down,
                fill=fill, stroke=palette.CLOTH, stroke_width=2,
            )  # fmt: skip
            add(cells, "text", _figure(value), x=x, y=y + size * _BASE, fill=ink)


def _figure(value: float) -> str:
    """An error in mm as it fits a cell."""
    return f"{value:.2f}" if value < 9.995 else f"{value:.0f}"
