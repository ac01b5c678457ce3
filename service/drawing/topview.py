"""The top view: one layout in the table frame, with what a verdict says about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calibration.table import Table
from vision.layout import Layout

from . import palette
from .balls import draw_ball, draw_before
from .frame import View, draw_table
from .legend import draw_legend, verdict_words
from .marks import arrival_words, draw_arrival, draw_miss, draw_stop, draw_zone, exaggeration
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
    width_px: int = 960,
) -> str:
    """An <svg> element: the table from above, head on the left, y up, everything to scale.

    Balls of ``before`` that moved or left are drawn faded. ``zone`` defaults to the verdict's
    own. The stop's 95 % error ellipse is enlarged where it would be too small to see, and the
    legend says by how much. All text is escaped: file names may come from anywhere.
    """
    zone = zone if zone is not None or verdict is None else verdict.zone
    legend = before is not None or verdict is not None or zone is not None
    view = View(table=table, width_px=width_px, legend=legend)
    svg = root(
        view.box,
        width_px,
        title=f"Top view of {layout.still}" if layout.still else "Top view of the table",
        description=describe(table, layout, verdict),
        kind="top-view",
    )
    draw_table(svg, view)
    marks: list[tuple[str, str]] = []
    if zone is not None and not zone.is_empty:
        draw_zone(svg, view, zone)
        marks.append(("zone", "zone"))
        if zone.wanted_mm is not None:
            marks.append(("wanted", "wanted spot"))
    if verdict is not None and verdict.arrival_line_mm is not None:
        draw_arrival(svg, view, verdict)
        marks.append(("arrival", arrival_words(verdict)))
    if before is not None and draw_before(svg, view, before, layout):
        marks.append(("before", "before the shot"))
    balls = add(svg, "g", class_="balls")
    for ball in layout.balls:
        draw_ball(balls, view, ball)
    cue = layout.ball("cue")
    if verdict is not None and cue is not None:
        colour = palette.verdict_colour(verdict.verdict)
        draw_miss(svg, view, verdict, colour)
        draw_stop(svg, view, cue, colour)
        factor = exaggeration(cue)
        marks.append(("ellipse", "95 % error" + (f", drawn ×{factor}" if factor > 1 else "")))
    if legend:
        draw_legend(svg, view, verdict, marks)
    return text_of(svg)


def describe(table: Table, layout: Layout, verdict: Verdict | None) -> str:
    """The drawing in words: for a screen reader and for whoever cannot see colours."""
    length, width = table.surface_mm
    parts = [f"Table of {length:g} by {width:g} mm, head end on the left."]
    if not layout.balls:
        parts.append("No balls.")
    for ball in layout.balls:
        name = "Cue ball" if ball.id == "cue" else f"Ball {ball.id}"
        X, Y = table.diamonds(ball.centre_mm)  # noqa: N806 - diamonds are written X, Y
        others = " or ".join(other for other, _ in ball.runners_up)
        doubt = f", name in doubt{f' ({others}?)' if others else ''}" if ball.doubtful else ""
        parts.append(
            f"{name} at {ball.x_mm:.0f}, {ball.y_mm:.0f} mm ({X:.2f}, {Y:.2f} diamonds){doubt}."
        )
    if layout.obstructed:
        parts.append("The view is obstructed.")
    if verdict is not None:
        parts.append(f"Verdict: {verdict_words(verdict)}.")
    return " ".join(parts)
