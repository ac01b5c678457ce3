"""Planned routes of the cue ball from above, laid over one another, with what each meets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from shapely.geometry import LineString
from shapely.ops import substring

from calibration.table import PointMm, Table
from service.words.lengths import Lengths, Units
from service.words.plain import percent
from vision.layout import Layout

from . import palette
from .balls import draw_ball
from .frame import View, draw_table
from .legend import draw_legend
from .marks import draw_zone
from .svg import add, arrow_head, points, root, text_of

if TYPE_CHECKING:
    from service.position.plan.route import RouteReport, Stretch

_GAP_MARK_MM = 16.0
_FIRST_NUMBER, _NEXT_NUMBER = 0.25, 0.1
"""Where on its way a route's number stands, as a share of it."""


def routes_svg(
    table: Table,
    layout: Layout,
    routes: Sequence[tuple[str, RouteReport]],
    *,
    units: Units = Units.MM,
    width_px: int = 960,
) -> str:
    """An <svg> element: each named route with its landing zone, numbered in the order given.

    Stretches on which a stop would be hooked are dotted; a ring marks each route's tightest gap.
    """
    lengths = Lengths.on(table, units)
    view = View(table=table, width_px=width_px, legend=True)
    svg = root(
        view.box,
        width_px,
        title="Planned routes of the cue ball",
        description=describe_routes(routes, lengths),
        kind="routes",
    )
    draw_table(svg, view)
    for zone in {id(report.zone): report.zone for _, report in routes}.values():
        draw_zone(svg, view, zone)
    marks = [("zone", "zone"), ("wanted", "wanted spot")]
    balls = add(svg, "g", class_="balls")
    for ball in layout.balls:
        draw_ball(balls, view, ball, lengths)
    for number, (name, report) in enumerate(routes, start=1):
        colour = palette.ROUTES[(number - 1) % len(palette.ROUTES)]
        _draw_route(svg, view, report, colour, f"{number} {name}")
        marks.append((colour, f"{number} {name}"))
    if any(report.hooked for _, report in routes):
        marks.append(("dots", "a stop here is hooked or partly"))
    if any(report.gaps for _, report in routes):
        marks.append(("gap", "tightest gap"))
    draw_legend(svg, view, None, marks, lengths)
    return text_of(svg)


def describe_routes(routes: Sequence[tuple[str, RouteReport]], lengths: Lengths) -> str:
    """The drawing in words."""
    parts = []
    for number, (name, report) in enumerate(routes, start=1):
        chance = (
            "no zone" if report.chance is None else f"{percent(report.chance)} stop in the zone"
        )
        rails = f"by {', '.join(report.rails)}" if report.rails else "without a cushion"
        parts.append(f"Route {number}, {name}: {lengths.text(report.way_mm)} {rails}, {chance}.")
    return " ".join(parts) or "No routes."


def _draw_route(svg: ET.Element, view: View, report: RouteReport, colour: str, words: str) -> None:
    ring = view.ring(report.route_mm)
    group = add(svg, "g", class_="route", fill="none", stroke_linejoin="round")
    add(group, "title", words)
    for stroke, width in ((palette.BALL_INK, 13.0), (colour, 7.0)):
        add(group, "polyline", points=points(ring), stroke=stroke, stroke_width=width)
    for stretch in report.hooked:
        _draw_hooked(group, view, report, stretch)
    head = arrow_head(ring[-1], ring[-2], 34)
    add(group, "polygon", points=points(head), fill=colour, stroke=palette.BALL_INK)
    gap = report.tightest
    if gap is not None:
        x, y = view.at(_at(report, gap.at_mm))
        add(group, "circle", cx=x, cy=y, r=_GAP_MARK_MM, stroke=colour, stroke_width=5)
    _draw_number(group, view, report, colour, words.split(" ")[0])


def _draw_hooked(group: ET.Element, view: View, report: RouteReport, stretch: Stretch) -> None:
    line = LineString(report.route_mm)
    part = substring(line, stretch.from_mm, stretch.to_mm)
    ring = view.ring(part.coords)
    if len(ring) > 1:
        add(
            group, "polyline", points=points(ring), stroke=palette.BALL_INK, stroke_width=7,
            stroke_dasharray="2 14",
        )  # fmt: skip


def _draw_number(
    group: ET.Element, view: View, report: RouteReport, colour: str, number: str
) -> None:
    """The route's number on it; routes start in one place, so each number lies further on."""
    size = 13 * view.mm_per_px
    share = _FIRST_NUMBER + _NEXT_NUMBER * ((int(number) - 1) % len(palette.ROUTES))
    x, y = view.at(_at(report, share * report.way_mm))
    add(group, "circle", cx=x, cy=y, r=size * 0.8, fill=palette.BALL_INK, stroke=colour,
        stroke_width=5)  # fmt: skip
    add(
        group, "text", number, x=x, y=y + size * 0.35, text_anchor="middle", font_size=size,
        font_weight="700", fill=colour,
    )  # fmt: skip


def _at(report: RouteReport, mark_mm: float) -> PointMm:
    place = LineString(report.route_mm).interpolate(mark_mm)
    return (place.x, place.y)
