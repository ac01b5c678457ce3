"""The report's own small figures: landing spots, and residuals of the calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from calibration.chi_square import PLANE_95
from calibration.table import BALL_RADIUS_MM
from service.drawing.svg import add, number, root, text_of
from service.words.lengths import MILLIMETRES, Lengths

_INK = "fill:var(--muted,#667)"
_LINE = "stroke:var(--rule,#bbb)"
_SIZE = 460
_HALF = 196
"""Half the plot's side in drawing units; the rest is for words."""
FEWEST_FOR_ELLIPSE = 5
_LINE_ENDS = ("↑ long", "short ↓", "← left", "right →")
_TABLE_ENDS = ("↑ side left", "side right ↓", "← head", "foot →")


@dataclass(frozen=True, slots=True, kw_only=True)
class LandingPoint:
    """One stop against its wanted spot: along and across the arrival line, mm.

    By the table's own axes "along" is toward side left and "across" toward the head, so that the
    drawing shows the table as it lies, head on the left.
    """

    label: str
    along_mm: float
    """+ long, − short."""
    across_mm: float
    """+ left, − right of the arrival line."""
    verdict: str


def landings_svg(
    landings: Sequence[LandingPoint], lengths: Lengths = MILLIMETRES, *, by_table: bool = False
) -> str:
    """Stops as a player sees them who looks along the arrival line: long is up, left is left.

    The wanted spot is in the middle. ``by_table`` shows the table as it lies instead.
    From five attempts on, by the arrival line, their 95 % ellipse and their mean are drawn.
    """
    reach_mm = _reach_mm(landings)
    scale = _HALF / reach_mm
    words = "; ".join(_words(m, lengths, by_table=by_table) for m in landings)
    svg = root(
        (-_SIZE / 2, -_SIZE / 2, _SIZE, _SIZE),
        _SIZE,
        title="Stops against the wanted spot, "
        + ("by the table" if by_table else "along and across the arrival line"),
        description=words or "no attempts",
        kind="landings",
    )
    _draw_grid(svg, reach_mm, scale, lengths, _TABLE_ENDS if by_table else _LINE_ENDS)
    if len(landings) >= FEWEST_FOR_ELLIPSE and not by_table:
        _draw_ellipse(svg, landings, scale, lengths)
    _draw_points(svg, landings, scale, lengths, by_table=by_table)
    return text_of(svg)


def _reach_mm(landings: Sequence[LandingPoint]) -> float:
    largest = max((max(abs(m.along_mm), abs(m.across_mm)) for m in landings), default=0.0)
    if len(landings) >= FEWEST_FOR_ELLIPSE:
        mean, cov = _mean_cov(landings)
        half = np.sqrt(np.maximum(np.diag(cov), 0.0) * PLANE_95)
        largest = max(largest, 0.9 * float(np.max(np.abs(mean) + half)))
    for nice in (50, 100, 150, 200, 300, 400, 500, 600, 700, 800, 1000, 1200, 1400, 1600, 2400):
        if largest * 1.12 + 5 <= nice:
            return float(nice)
    return largest * 1.15


def _draw_grid(
    svg: ET.Element,
    reach_mm: float,
    scale: float,
    lengths: Lengths,
    names: tuple[str, str, str, str],
) -> None:
    grid = add(svg, "g", fill="none", stroke_width=1, style=_LINE)
    words = add(svg, "g", font_size=11.5, style=_INK)
    for share in (0.25, 0.5, 0.75, 1.0):
        radius = reach_mm * share * scale
        add(grid, "circle", r=radius, stroke_dasharray="none" if share == 1 else "2 4")
        if share in (0.5, 1.0):
            diagonal = radius * math.sqrt(0.5)
            add(
                words, "text", lengths.text(reach_mm * share), x=diagonal + 4, y=diagonal + 12,
            )  # fmt: skip
    add(grid, "line", x1=-_HALF, y1=0, x2=_HALF, y2=0)
    add(grid, "line", x1=0, y1=-_HALF, x2=0, y2=_HALF)
    add(grid, "circle", r=BALL_RADIUS_MM * scale, stroke_width=1.5, stroke_dasharray="3 3")
    ends = (
        (names[0], 0, -_HALF - 9, "middle"), (names[1], 0, _HALF + 18, "middle"),
        (names[2], -_HALF - 6, -7, "start"), (names[3], _HALF + 6, -7, "end"),
    )  # fmt: skip
    for text, x, y, anchor in ends:
        add(words, "text", text, x=x, y=y, text_anchor=anchor, font_weight="600", font_size=13)


def _mean_cov(
    landings: Sequence[LandingPoint],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    spots = np.array([[m.along_mm, m.across_mm] for m in landings])
    return spots.mean(axis=0), np.cov(spots.T)


def _draw_ellipse(
    svg: ET.Element, landings: Sequence[LandingPoint], scale: float, lengths: Lengths
) -> None:
    mean, cov = _mean_cov(landings)
    values, vectors = np.linalg.eigh(cov)
    small, large = np.sqrt(np.maximum(values, 0.0) * PLANE_95) * scale
    x, y = _drawn(mean[0], mean[1], scale)
    axis_x, axis_y = _drawn(vectors[0, 1], vectors[1, 1], 1.0)
    turn = math.degrees(math.atan2(axis_y, axis_x))
    group = add(svg, "g", transform=f"translate({number(x)} {number(y)})")
    add(
        group, "ellipse", rx=float(large), ry=float(small), stroke_width=1.6,
        stroke_dasharray="7 4", transform=f"rotate({number(turn)})",
        style="stroke:var(--accent,#277);fill:var(--accent,#277);fill-opacity:.07",
    )  # fmt: skip
    cross = add(group, "g", stroke_width=2.4, style="stroke:var(--accent,#277)")
    add(cross, "title", f"average stop: {lengths.off(*mean)}")
    add(cross, "line", x1=-7, y1=0, x2=7, y2=0)
    add(cross, "line", x1=0, y1=-7, x2=0, y2=7)


def _drawn(along_mm: float, across_mm: float, scale: float) -> tuple[float, float]:
    """Where a stop stands in the drawing: x to the right, y down."""
    return -across_mm * scale, -along_mm * scale


def _words(spot: LandingPoint, lengths: Lengths, *, by_table: bool) -> str:
    where = lengths.off(spot.along_mm, spot.across_mm)
    if by_table:
        where = lengths.by_table((-spot.across_mm, spot.along_mm)) or "on the wanted spot"
    return f"attempt {spot.label}: {where}"


def _draw_points(
    svg: ET.Element,
    landings: Sequence[LandingPoint],
    scale: float,
    lengths: Lengths,
    *,
    by_table: bool,
) -> None:
    colours = {"in": "--in", "out": "--out", "too close to call": "--close"}
    group = add(svg, "g", font_size=11, font_weight="700")
    for spot in landings:
        x, y = _drawn(spot.along_mm, spot.across_mm, scale)
        colour = colours.get(spot.verdict, "--muted")
        dot = add(group, "g", transform=f"translate({number(x)} {number(y)})")
        add(dot, "title", _words(spot, lengths, by_table=by_table))
        add(dot, "circle", r=9, style=f"fill:var({colour},#b54)", stroke="none")
        add(
            dot, "text", spot.label, y=3.9, text_anchor="middle",
            style="fill:var(--paper,#fff)",
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """One kind of landmark with its residuals in mm."""

    label: str
    values_mm: tuple[float, ...]


def residuals_svg(rows: Sequence[StripRow]) -> str:
    """Residuals of each kind of landmark as ticks on one mm scale."""
    wide, row_high, left = 620.0, 34.0, 150.0
    high = row_high * len(rows) + 34
    largest = max((abs(v) for row in rows for v in row.values_mm), default=1.0)
    limit = next((n for n in (0.5, 1, 2, 3, 5, 10, 20) if n >= largest), largest)
    scale = (wide - left - 24) / (2 * limit)
    middle = left + (wide - left - 24) / 2
    svg = root(
        (0, 0, wide, high), int(wide), title="Residuals of the calibration by kind of landmark",
        description="; ".join(
            f"{row.label}: {len(row.values_mm)}, largest "
            f"{max((abs(v) for v in row.values_mm), default=0):.2f} mm" for row in rows
        ), kind="residuals",
    )  # fmt: skip
    for i, row in enumerate(rows):
        y = row_high * (i + 0.5)
        add(svg, "text", row.label, x=0, y=y + 4.5, font_size=13, style="fill:var(--ink,#222)")
        add(svg, "line", x1=left, x2=wide - 24, y1=y, y2=y, style=_LINE)
        ticks = add(svg, "g", stroke_width=1.6, style="stroke:var(--accent,#277);stroke-opacity:.6")
        for value in row.values_mm:
            x = middle + value * scale
            add(ticks, "line", x1=x, x2=x, y1=y - 9, y2=y + 9)
    bottom = row_high * len(rows) + 8
    add(svg, "line", x1=middle, x2=middle, y1=0, y2=bottom, style=_LINE, stroke_dasharray="3 3")
    for value in (-limit, 0.0, limit):
        add(
            svg, "text", f"{value:+g} mm" if value else "0", x=middle + value * scale,
            y=bottom + 16, text_anchor="middle", font_size=11.5, style=_INK,
        )  # fmt: skip
    return text_of(svg)
