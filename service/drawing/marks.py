"""What a verdict adds to the picture: zone, wanted spot, arrival line, stop, miss vector."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np

from calibration.chi_square import PLANE_95
from calibration.table import BALL_RADIUS_MM, PointMm
from service.words.lengths import Lengths
from vision.layout import Ball

from . import palette
from .frame import View
from .svg import add, arrow_head, number, path, points

if TYPE_CHECKING:
    from service.position import LandingZone, Verdict

_ELLIPSE_ROOM_MM = 75.0
_FACTORS = (1, 2, 3, 5, 10, 15, 20, 30, 50, 75, 100)


def ellipse_mm(ball: Ball) -> tuple[float, float, float]:
    """Semi-axes (mm, larger first) of the 95 % ellipse and the larger one's angle (rad)."""
    values, vectors = np.linalg.eigh(np.asarray(ball.cov_mm2, dtype=float))
    small, large = (math.sqrt(max(0.0, PLANE_95 * float(v))) for v in values)
    return large, small, math.atan2(float(vectors[1, 1]), float(vectors[0, 1]))


def exaggeration(ball: Ball) -> int:
    """How many times the ellipse is enlarged to be seen; 1 where it is large enough."""
    large = ellipse_mm(ball)[0]
    if large <= 0:
        return 1
    return max((f for f in _FACTORS if f * large <= _ELLIPSE_ROOM_MM), default=1)


def draw_zone(svg: ET.Element, view: View, zone: LandingZone) -> None:
    """The landing zone with its holes, and the wanted spot."""
    if zone.is_empty:
        return
    rings = [view.ring(ring) for exterior, holes in zone.polygons_mm for ring in (exterior, *holes)]
    group = add(svg, "g", class_="zone")
    add(group, "title", "landing zone")
    add(
        group, "path", d=path(rings), fill=palette.ZONE_FILL, fill_opacity=0.34,
        fill_rule="evenodd", stroke=palette.ZONE_EDGE, stroke_width=4, stroke_linejoin="round",
    )  # fmt: skip
    if zone.wanted_mm is not None:
        x, y = view.at((float(zone.wanted_mm[0]), float(zone.wanted_mm[1])))
        mark = add(group, "g", stroke=palette.WANTED, stroke_width=5, fill="none")
        add(mark, "circle", cx=x, cy=y, r=13)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            add(mark, "line", x1=x + 8 * dx, y1=y + 8 * dy, x2=x + 26 * dx, y2=y + 26 * dy)


def draw_arrival(svg: ET.Element, view: View, line: tuple[PointMm, PointMm], words: str) -> None:
    """The line on which the cue ball came or is to arrive."""
    ring = view.ring(line)
    if len(ring) < 2 or math.dist(ring[-2], ring[-1]) < 1:
        return
    group = add(svg, "g", class_="arrival", opacity=0.9)
    add(group, "title", words)
    add(
        group, "polyline", points=points(ring), fill="none", stroke=palette.ARRIVAL,
        stroke_width=4, stroke_dasharray="22 12",
    )  # fmt: skip
    head = arrow_head(ring[-1], ring[-2], 26)
    add(group, "polygon", points=points(head), fill=palette.ARRIVAL)


def draw_stop(svg: ET.Element, view: View, cue: Ball, colour: str) -> None:
    """Ring round the cue ball's stop and its 95 % error ellipse, enlarged to be seen."""
    x, y = view.at(cue.centre_mm)
    group = add(svg, "g", class_="stop", transform=f"translate({number(x)} {number(y)})")
    add(group, "circle", r=BALL_RADIUS_MM + 7, fill="none", stroke=colour, stroke_width=7)
    large, small, turn = ellipse_mm(cue)
    factor = exaggeration(cue)
    if large > 0:
        add(
            group, "ellipse", rx=large * factor, ry=small * factor, fill=palette.ELLIPSE,
            fill_opacity=0.1, stroke=palette.ELLIPSE, stroke_width=3, stroke_dasharray="10 5",
            transform=f"rotate({number(-math.degrees(turn) - 90 * view.turn)})",
        )  # fmt: skip


def draw_miss(svg: ET.Element, view: View, verdict: Verdict, colour: str, lengths: Lengths) -> None:
    """The vector from the nearest place in the zone to the stop, with its length."""
    stop, vector, miss_mm = verdict.cue_stop_mm, verdict.miss_vector_mm, verdict.miss_mm
    if stop is None or vector is None or not miss_mm:
        return
    tail = view.at((stop[0] - vector[0], stop[1] - vector[1]))
    tip = view.at((stop[0], stop[1]))
    group = add(svg, "g", class_="miss")
    words = lengths.text(miss_mm)
    add(group, "title", f"outside the zone by {words}")
    for stroke, width in ((palette.BALL_INK, 12.0), (colour, 6.5)):
        add(
            group, "line", x1=tail[0], y1=tail[1], x2=tip[0], y2=tip[1], stroke=stroke,
            stroke_width=width, stroke_linecap="round",
        )  # fmt: skip
    if miss_mm > 30:
        add(
            group, "polygon", points=points(arrow_head(tip, tail, 30)), fill=colour,
            stroke=palette.BALL_INK, stroke_width=2.5,
        )  # fmt: skip
    add(group, "circle", cx=tail[0], cy=tail[1], r=8, fill=colour)
    size = 15 * view.mm_per_px
    half = (size * (0.31 * len(words) + 0.5), size * 0.78)
    x, y = label_place(view, tail, tip, half)
    add(
        group, "rect", x=x - half[0], y=y - half[1], width=2 * half[0], height=2 * half[1],
        rx=size * 0.5, fill=palette.FRAME, opacity=0.88,
    )  # fmt: skip
    add(
        group, "text", words, x=x, y=y + size * 0.35, text_anchor="middle", font_size=size,
        font_weight="700", fill=colour,
    )  # fmt: skip


def label_place(
    view: View, tail: PointMm, tip: PointMm, half_mm: tuple[float, float]
) -> tuple[float, float]:
    """Where the miss label's middle stands: beside the stop, clear of ball and vector.

    It lies square to the vector on the side with more room; ``half_mm`` is half its size.
    """
    span = max(math.dist(tail, tip), 1e-6)
    across = (-(tip[1] - tail[1]) / span, (tip[0] - tail[0]) / span)
    centre = (view.size_mm[0] / 2, view.size_mm[1] / 2)
    if across[0] * (centre[0] - tip[0]) + across[1] * (centre[1] - tip[1]) < 0:
        across = (-across[0], -across[1])
    reach = BALL_RADIUS_MM + 24 + abs(across[0]) * half_mm[0] + abs(across[1]) * half_mm[1]
    return (tip[0] + across[0] * reach, tip[1] + across[1] * reach)
