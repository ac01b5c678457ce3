"""The top view: one layout in the table frame, with what a verdict says about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calibration.table import PointMm, Table
from service.words.balls import ball_name, hidden_words
from service.words.lengths import Lengths, Units, diamonds
from service.words.plain import capital
from service.words.verdicts import arrival_words, headline
from vision.layout import Layout

from . import palette
from .balls import draw_ball, draw_before
from .frame import View, draw_table
from .hidden import BLIND, draw_hidden
from .legend import STRIP, draw_legend, marks_shown
from .marks import draw_arrival, draw_miss, draw_stop, draw_zone
from .svg import add, root, text_of

if TYPE_CHECKING:
    from service.position import LandingZone, Verdict


def top_view_svg(
    table: Table,
    layout: Layout,
    *,
    before: Layout | None = None,
    verdict: Verdict | None = None,
    zone: LandingZone | None = None,
    arrival_line_mm: tuple[PointMm, PointMm] | None = None,
    blind_mm: Sequence[Sequence[PointMm]] = (),
    units: Units = Units.MM,
    width_px: int = 960,
    turn: int = 0,
    legend: bool | None = None,
    small: bool = False,
) -> str:
    """An <svg> element: the table from above, head on the left, y up, everything to scale.

    Balls of ``before`` that moved or left are drawn faded. ``zone`` and the arrival line default
    to the verdict's own. The stop's 95 % error ellipse is enlarged where it would be too small to
    see, and the legend says by how much. ``blind_mm`` are parts of the bed that the camera never
    sees; they are hatched like what this still hides. All text is escaped: file names may come
    from anywhere.
    ``turn`` counts quarter turns (``View.turn``); ``legend`` says whether there is one, by default
    where there is something to explain. ``small``: for a picture the width of a card.
    """
    lengths = Lengths.on(table, units)
    zone = zone if zone is not None or verdict is None else verdict.zone
    if legend is None:
        legend = before is not None or verdict is not None or zone is not None
    view = View(table=table, width_px=width_px, legend=legend, turn=turn, small=small)
    svg = root(
        view.box,
        width_px,
        title=f"Top view of {layout.still}" if layout.still else "Top view of the table",
        description=describe(layout, verdict, lengths),
        kind="top-view",
    )
    draw_table(svg, view)
    if zone is not None:
        draw_zone(svg, view, zone)
    if arrival_line_mm is None and verdict is not None:
        arrival_line_mm = verdict.arrival_line_mm
    if arrival_line_mm is not None:
        draw_arrival(svg, view, arrival_line_mm, arrival_words(verdict))
    if before is not None:
        draw_before(svg, view, before, layout)
    if blind_mm:
        draw_hidden(svg, view, blind_mm, word=BLIND)
    if layout.hidden_mm:
        draw_hidden(svg, view, layout.hidden_mm)
    balls = add(svg, "g", class_="balls")
    for ball in layout.balls:
        draw_ball(balls, view, ball, lengths)
    cue = layout.ball("cue")
    if verdict is not None and cue is not None:
        colour = palette.verdict_colour(verdict.verdict)
        draw_miss(svg, view, verdict, colour, lengths)
        draw_stop(svg, view, cue, colour)
    if legend:
        marks = [
            mark
            for mark in marks_shown(
                layout, before=before, verdict=verdict, zone=zone,
                arrival_line_mm=arrival_line_mm, blind_mm=blind_mm,
            )
            if mark[0] in STRIP
        ]  # fmt: skip
        draw_legend(svg, view, verdict, marks, lengths)
    return text_of(svg)


def describe(layout: Layout, verdict: Verdict | None, lengths: Lengths) -> str:
    """The drawing in words: for a screen reader and for whoever cannot see colours."""
    length, width = layout.surface_mm
    parts = [f"Table of {length:g} by {width:g} mm, head end on the left."]
    if not layout.balls:
        parts.append("No balls.")
    for ball in layout.balls:
        others = " or ".join(other for other, _ in ball.runners_up)
        doubt = f", name in doubt{f' ({others}?)' if others else ''}" if ball.doubtful else ""
        place = lengths.place(ball.centre_mm)
        if lengths.units is not Units.DIAMONDS:
            place += f" ({diamonds(lengths.surface_mm, ball.centre_mm)} diamonds)"
        parts.append(f"{capital(ball_name(ball.id))} at {place}{doubt}.")
    if layout.obstructed:
        parts.append("The view is obstructed.")
    if layout.hidden_mm:
        parts.append(hidden_words(layout.hidden_mm, lengths))
    if verdict is not None:
        parts.append(f"Verdict: {headline(verdict, lengths)}.")
    return " ".join(parts)
