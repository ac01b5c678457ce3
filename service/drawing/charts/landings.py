"""Stops against the wanted spot, as a player sees them who looks along the arrival line."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from calibration.chi_square import PLANE_95
from calibration.table import BALL_RADIUS_MM
from service.words.lengths import MILLIMETRES, Lengths
from service.words.plain import counted

from ..svg import add, number, root, text_of

_INK = "var(--soft,var(--muted,#667))"
_LINE = "var(--edge,var(--rule,#bbb))"
_ACCENT = "var(--accent,#277)"
_PAPER = "var(--paper,var(--card,#fff))"
_SIZE = 460
_HALF = 196
"""Half the plot's side in drawing units; the rest is for words."""
FEWEST_FOR_ELLIPSE = 5
_TOLD = 40
"""More stops than these are counted, not told one by one, to who cannot see them."""
_COLOURS = {"in": "--in", "out": "--out", "too close to call": "--close"}
_DIAMOND = "m0,-6l6,6l-6,6l-6,-6z"
_OUTLINES = {
    "in": "m-5,0a5,5,0,1,0,10,0a5,5,0,1,0,-10,0z",
    "out": "m-4.5,0a4.5,4.5,0,1,0,9,0a4.5,4.5,0,1,0,-9,0z",
}
"""Marks as steps from their middle: disc and ring; anything else is a diamond."""
_LINE_ENDS = ("↑ long", "short ↓", "← left", "right →")
_TABLE_ENDS = ("↑ side left", "side right ↓", "← head", "foot →")


@dataclass(frozen=True, slots=True, kw_only=True)
class LandingPoint:
    """One stop against its wanted spot: along and across the arrival line, mm.

    By the table's own axes "along" is toward side left and "across" toward the head, so that the
    drawing shows the table as it lies, head on the left.
    """

    label: str
    """Empty: a small mark by the verdict, for many stops at once."""
    along_mm: float
    """+ long, − short."""
    across_mm: float
    """+ left, − right of the arrival line."""
    verdict: str


def landings_svg(
    landings: Sequence[LandingPoint],
    lengths: Lengths = MILLIMETRES,
    *,
    by_table: bool = False,
    half_within_mm: float | None = None,
    all_mm: NDArray[np.float64] | None = None,
) -> str:
    """Stops as a player sees them who looks along the arrival line: long is up, left is left.

    The wanted spot is in the middle. ``by_table`` shows the table as it lies instead.
    From five attempts on, by the arrival line, their 95 % ellipse and their mean are drawn, and
    about the mean the circle of ``half_within_mm``, which holds half of the stops. ``all_mm`` has
    along and across of every stop, (n, 2), where ``landings`` are but the newest of them: ellipse
    and mean are those of all.
    """
    spots = np.array([[m.along_mm, m.across_mm] for m in landings]) if all_mm is None else all_mm
    reach_mm = _reach_mm(landings, spots)
    scale = _HALF / reach_mm
    told = landings if len(landings) <= _TOLD else ()
    words = "; ".join(_words(m, lengths, by_table=by_table) for m in told)
    svg = root(
        (-_SIZE / 2, -_SIZE / 2, _SIZE, _SIZE),
        _SIZE,
        title="Stops against the wanted spot, "
        + ("by the table" if by_table else "along and across the arrival line"),
        description=words or (f"{len(landings)} stops" if landings else "no attempts"),
        kind="landings",
    )
    _draw_grid(svg, reach_mm, scale, lengths, _TABLE_ENDS if by_table else _LINE_ENDS)
    if len(spots) >= FEWEST_FOR_ELLIPSE and not by_table:
        _draw_ellipse(svg, spots, scale, lengths, half_within_mm)
    if len(landings) > _TOLD and not any(spot.label for spot in landings):
        _draw_many(svg, landings, scale)
    else:
        _draw_points(svg, landings, scale, lengths, by_table=by_table)
    return text_of(svg)


def _reach_mm(landings: Sequence[LandingPoint], spots: NDArray[np.float64]) -> float:
    largest = max((max(abs(m.along_mm), abs(m.across_mm)) for m in landings), default=0.0)
    if len(spots) >= FEWEST_FOR_ELLIPSE:
        mean, cov = spots.mean(axis=0), np.cov(spots.T)
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
    grid = add(svg, "g", fill="none", stroke_width=1, stroke=_LINE)
    words = add(svg, "g", font_size=11.5, fill=_INK)
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


def _draw_ellipse(
    svg: ET.Element,
    spots: NDArray[np.float64],
    scale: float,
    lengths: Lengths,
    half_within_mm: float | None,
) -> None:
    mean, cov = spots.mean(axis=0), np.cov(spots.T)
    values, vectors = np.linalg.eigh(cov)
    small, large = np.sqrt(np.maximum(values, 0.0) * PLANE_95) * scale
    x, y = _drawn(mean[0], mean[1], scale)
    axis_x, axis_y = _drawn(vectors[0, 1], vectors[1, 1], 1.0)
    turn = math.degrees(math.atan2(axis_y, axis_x))
    group = add(svg, "g", transform=f"translate({number(x)} {number(y)})")
    add(
        group, "ellipse", rx=float(large), ry=float(small), stroke_width=1.6,
        stroke_dasharray="7 4", transform=f"rotate({number(turn)})",
        stroke=_ACCENT, fill=_ACCENT, fill_opacity=0.07,
    )  # fmt: skip
    if half_within_mm is not None:
        circle = add(
            group, "circle", r=half_within_mm * scale, stroke=_ACCENT, stroke_width=2.4, fill="none"
        )
        add(circle, "title", f"half of the stops within {lengths.text(half_within_mm)}")
    cross = add(group, "g", stroke_width=2.4, stroke=_ACCENT)
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
    return f"attempt {spot.label}: {where}" if spot.label else where


def _draw_points(
    svg: ET.Element,
    landings: Sequence[LandingPoint],
    scale: float,
    lengths: Lengths,
    *,
    by_table: bool,
) -> None:
    group = add(svg, "g", font_size=11, font_weight="700")
    for spot in landings:
        x, y = _drawn(spot.along_mm, spot.across_mm, scale)
        colour = _COLOURS.get(spot.verdict, "--muted")
        dot = add(group, "g", transform=f"translate({number(x)} {number(y)})")
        add(dot, "title", _words(spot, lengths, by_table=by_table))
        if spot.label:
            _draw_numbered(dot, spot, f"var({colour},#b54)")
        else:
            _draw_mark(dot, spot.verdict, f"var({colour},#b54)")


def _draw_many(svg: ET.Element, landings: Sequence[LandingPoint], scale: float) -> None:
    """The marks of ``_draw_mark``, one path a verdict: a browser lays out three, not hundreds."""
    for verdict in dict.fromkeys(spot.verdict for spot in landings):
        mine = [spot for spot in landings if spot.verdict == verdict]
        outline = _OUTLINES.get(verdict, _DIAMOND)
        moves = []
        for spot in mine:
            x, y = _drawn(spot.along_mm, spot.across_mm, scale)
            moves.append(f"M{number(x)},{number(y)}{outline}")
        colour = f"var({_COLOURS.get(verdict, '--muted')},#b54)"
        ring = verdict == "out"
        path = add(
            svg, "path", d="".join(moves), fill="none" if ring else colour,
            stroke=colour if ring else "none", stroke_width=2.2,
        )  # fmt: skip
        add(path, "title", f"{counted(len(mine), 'stop')}: {verdict or 'not called'}")


def _draw_numbered(dot: ET.Element, spot: LandingPoint, colour: str) -> None:
    """Its number in the same shapes as ``_draw_mark``: in black and white they are told too."""
    if spot.verdict == "out":
        add(dot, "circle", r=8.5, fill=_PAPER, stroke=colour, stroke_width=2.2)
    elif spot.verdict == "too close to call":
        add(dot, "path", d="M0,-13 L13,0 L0,13 L-13,0 Z", fill=colour)
    else:
        add(dot, "circle", r=9, fill=colour, stroke="none")
    ink = colour if spot.verdict == "out" else _PAPER
    add(dot, "text", spot.label, y=3.9, text_anchor="middle", fill=ink)


def _draw_mark(dot: ET.Element, verdict: str, colour: str) -> None:
    """A disc in the zone, a ring out of it, a diamond between: told without their colours."""
    if verdict == "in":
        add(dot, "circle", r=5, fill=colour)
    elif verdict == "out":
        add(dot, "circle", r=4.5, fill="none", stroke=colour, stroke_width=2.2)
    else:
        add(dot, "path", d="M0,-6 L6,0 L0,6 L-6,0 Z", fill=colour)
