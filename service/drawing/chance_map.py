"""The pot chance map: a ball's chance from everywhere on the bed, seen from above."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.table import Table
from service.words.lengths import MILLIMETRES, Lengths, Units
from service.words.plain import percent
from vision.layout import Layout

from . import palette
from .balls import draw_ball
from .frame import View, draw_table
from .legend import draw_bands
from .svg import add, root, text_of

if TYPE_CHECKING:
    from service.position.plan.chance_map import ChanceMap

LEVELS = (0.1, 0.25, 0.5, 0.75, 0.9)
"""Limits of the bands of colour, so that maps can be laid side by side."""
_OPAQUE = 255


def chance_map_svg(
    table: Table,
    layout: Layout,
    chart: ChanceMap,
    *,
    units: Units = Units.MM,
    width_px: int = 960,
) -> str:
    """An <svg> element: the table from above with each cell's chance, the balls and the best place.

    Cells without a way into any pocket, and those where no cue ball can lie, show the cloth.
    """
    lengths = Lengths.on(table, units)
    view = View(table=table, width_px=width_px, legend=True)
    svg = root(
        view.box,
        width_px,
        title=f"Pot chance of ball {chart.ball}",
        description=describe_chances(chart, lengths),
        kind="chance-map",
    )
    draw_table(svg, view)
    _draw_cells(svg, view, chart)
    balls = add(svg, "g", class_="balls")
    for ball in layout.balls:
        draw_ball(balls, view, ball, lengths)
    best = chart.best
    if best is not None and best[1] > 0:
        x, y = view.at(best[0])
        mark = add(svg, "g", class_="best", stroke=palette.WANTED, stroke_width=6, fill="none")
        add(mark, "title", "best place")
        add(mark, "circle", cx=x, cy=y, r=34)
    limits = [f"≤ {100 * level:g}" for level in LEVELS] + [f"> {100 * LEVELS[-1]:g}"]
    draw_bands(svg, view, "pot chance, %:", zip(palette.ERROR_BANDS[::-1], limits, strict=True))
    return text_of(svg)


def describe_chances(chart: ChanceMap, lengths: Lengths = MILLIMETRES) -> str:
    """The map in words."""
    best = chart.best
    if best is None or best[1] == 0:
        return f"No place gives ball {chart.ball} a way into a pocket. Head end on the left."
    place, chance = best
    return (
        f"Chance of potting ball {chart.ball} by the cue ball's place, best {percent(chance)} "
        f"at {lengths.place(place)}. Head end on the left."
    )


def band_colours(chance: NDArray[np.float64]) -> NDArray[np.uint8]:
    """(rows, columns) of chances to (rows, columns, 4) BGRA; NaN and 0 are clear."""
    fills = [_bgr(fill) for fill, _ in palette.ERROR_BANDS]
    known = np.nan_to_num(chance)
    out = np.zeros((*chance.shape, 4), dtype=np.uint8)
    # dark means little chance, pale means much
    out[..., :3] = np.array(fills[::-1], dtype=np.uint8)[np.searchsorted(LEVELS, known)]
    out[..., 3] = np.where(known > 0, _OPAQUE, 0)
    return out


def _bgr(fill: str) -> tuple[int, int, int]:
    return int(fill[5:7], 16), int(fill[3:5], 16), int(fill[1:3], 16)


def _draw_cells(svg: ET.Element, view: View, chart: ChanceMap) -> None:
    rows, columns = chart.chance.shape
    # the drawing's y runs down, the map's rows run up
    _, png = cv2.imencode(".png", band_colours(chart.chance)[::-1])
    data = base64.b64encode(png.tobytes()).decode("ascii")
    high, wide = rows * chart.step_mm, columns * chart.step_mm
    x, y = view.at((0.0, high))
    image = add(svg, "image", x=x, y=y, width=wide, height=high, preserveaspectratio="none")
    image.set("preserveAspectRatio", image.attrib.pop("preserveaspectratio"))
    image.set("image-rendering", "pixelated")
    image.set("href", f"data:image/png;base64,{data}")
