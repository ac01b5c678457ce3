"""One ball as a symbol: solid, stripe or cue ball, with number, doubt and a faded double."""

from __future__ import annotations

import math
from xml.etree import ElementTree as ET

from calibration.table import BALL_RADIUS_MM
from service.words.balls import ball_name
from service.words.lengths import Lengths
from vision.layout import Ball, Layout

from . import palette
from .frame import View
from .svg import FONT, SVG_NAMESPACE, add, number, text_of

SMALL_SCALE = 1.75
"""How much larger than it is a ball is drawn on a small picture."""
MOVED_MM = 6.0
"""A ball nearer than this to its former place is drawn once: readings differ by about 1 mm."""


def draw_ball(parent: ET.Element, view: View, ball: Ball, lengths: Lengths) -> ET.Element:
    """The ball at its place; a doubtful name gets a dashed ring and a question mark."""
    x, y = view.at(ball.centre_mm)
    group = add(
        parent, "g", transform=f"translate({number(x)} {number(y)})", class_="ball",
        data_ball=ball.id,
    )  # fmt: skip
    add(group, "title", f"{ball_name(ball.id)}: {lengths.place(ball.centre_mm)}")
    radius = BALL_RADIUS_MM
    mark = add(group, "g", class_="ball-mark")
    add(mark, "ellipse", cx=3, cy=5, rx=radius + 2, ry=radius + 2, fill="#000", opacity=0.28)
    if view.small:
        mark.set("transform", f"scale({number(SMALL_SCALE)})")
    ball_symbol(mark, ball.id, radius, large_number=view.small)
    if ball.doubtful:
        add(
            group, "circle", r=radius + 9, fill="none", stroke=palette.DOUBT, stroke_width=5,
            stroke_dasharray="14 9", class_="doubt-ring",
        )  # fmt: skip
        add(
            group, "text", "?", x=radius + 10, y=-radius, fill=palette.DOUBT, font_size=50,
            font_weight="700", class_="doubt-mark",
        )  # fmt: skip
    return group


def ball_symbol(
    parent: ET.Element, name: str, radius: float, *, large_number: bool = False
) -> None:
    """Circle, band, number disc and number about the origin; ``radius`` in drawing units."""
    colour = palette.ball_colour(name)
    stripe = palette.is_stripe(name)
    add(parent, "circle", r=radius, fill=palette.BALL_WHITE if stripe else colour)
    if stripe:
        half = radius * 0.56
        across = math.sqrt(radius**2 - half**2)
        arc = f"A{number(radius)},{number(radius)} 0 0 1"
        add(
            parent, "path", fill=colour,
            d=f"M{number(-across)},{number(-half)} L{number(across)},{number(-half)} "
            f"{arc} {number(across)},{number(half)} L{number(-across)},{number(half)} "
            f"{arc} {number(-across)},{number(-half)} Z",
        )  # fmt: skip
    add(
        parent, "circle", r=radius - 0.9, fill="none", stroke="#0b0d0e", stroke_opacity=0.55,
        stroke_width=1.8,
    )  # fmt: skip
    add(
        parent, "ellipse", cx=-radius * 0.42, cy=-radius * 0.6, rx=radius * 0.24,
        ry=radius * 0.13, fill="#fff", opacity=0.55 if name != "cue" else 0.0,
        transform=f"rotate(-38 {number(-radius * 0.42)} {number(-radius * 0.6)})",
    )  # fmt: skip
    if name == "cue":
        return
    disc = 0.72 if large_number else 0.56
    add(parent, "circle", r=radius * disc, fill=palette.BALL_WHITE, class_="ball-disc")
    size = radius * (0.98 if len(name) == 1 else 0.8) * (1.3 if large_number else 1.0)
    add(
        parent, "text", name, text_anchor="middle", y=size * 0.36, font_size=size,
        font_weight="700", fill=palette.BALL_INK,
        class_="ball-number" if len(name) == 1 else "ball-number two",
    )  # fmt: skip
    if name in ("6", "9"):
        add(
            parent, "rect", x=-radius * 0.24, y=size * 0.42, width=radius * 0.48,
            height=radius * 0.07, fill=palette.BALL_INK,
        )  # fmt: skip


def ball_icon_svg(name: str) -> str:
    """The ball alone as a small <svg> without words: for lists that name it beside."""
    half = BALL_RADIUS_MM + 2
    svg = ET.Element(
        "svg",
        {
            "xmlns": SVG_NAMESPACE,
            "viewBox": " ".join(number(v) for v in (-half, -half, 2 * half, 2 * half)),
            "class": "ball-icon",
            "aria-hidden": "true",
            "font-family": FONT,
        },
    )
    ball_symbol(svg, name, BALL_RADIUS_MM)
    return text_of(svg)


def moved_balls(before: Layout, after: Layout) -> list[tuple[Ball, Ball | None]]:
    """Balls that have left their former places, each with what it is now; None: it is gone."""
    pairs = [(ball, after.ball(ball.id)) for ball in before.balls]
    return [
        (ball, now)
        for ball, now in pairs
        if now is None or math.dist(now.centre_mm, ball.centre_mm) >= MOVED_MM
    ]


def draw_before(parent: ET.Element, view: View, before: Layout, after: Layout) -> None:
    """Faded doubles of balls that have left their former places."""
    group = add(parent, "g", class_="before")
    for ball, now in moved_balls(before, after):
        x, y = view.at(ball.centre_mm)
        if now is not None:
            nx, ny = view.at(now.centre_mm)
            add(
                group, "line", x1=x, y1=y, x2=nx, y2=ny, stroke=palette.GHOST, stroke_width=3,
                stroke_dasharray="2 12", stroke_linecap="round", opacity=0.5,
            )  # fmt: skip
        double = add(group, "g", transform=f"translate({number(x)} {number(y)})")
        add(double, "title", f"{ball_name(ball.id)} before the shot")
        faded = add(double, "g", opacity=0.36)
        ball_symbol(faded, ball.id, BALL_RADIUS_MM)
        add(
            double, "circle", r=BALL_RADIUS_MM + 2, fill="none", stroke=palette.GHOST,
            stroke_width=3, stroke_dasharray="9 7", opacity=0.8,
        )  # fmt: skip
