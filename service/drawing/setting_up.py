"""The set-up guide drawn: every ball where it lies, its place, and an arrow between the two."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from calibration.table import BALL_RADIUS_MM, PointMm, Table
from service.words.balls import ball_name
from service.words.lengths import Lengths, Units

from . import palette
from .balls import ball_symbol, draw_ball
from .frame import View, draw_table
from .svg import add, arrow_head, number, points, root, text_of

if TYPE_CHECKING:
    from service.guide.guided import Guided
    from service.guide.moves import Move

_RING_MM = BALL_RADIUS_MM + 8
_TURNS = tuple(
    side * k * math.pi / 6 for k in range(7) for side in ((1,) if k in (0, 6) else (1, -1))
)
_ARROW_FROM_MM = 20.0
"""A shorter way is told by its number alone: an arrow would hide under the ball."""
_WRONG, _RIGHT = palette.DOUBT, palette.VERDICT["in"]


def guide_svg(
    table: Table,
    found: Guided,
    said: str,
    *,
    units: Units = Units.MM,
    width_px: int = 960,
    turn: int = 0,
) -> str:
    """An <svg> element; ``said`` is the state in words, for whoever cannot see it.

    Places are dashed rings with their ball's number, balls that stand right get a tick, the others
    an arrow with its length. Never by colour alone. ``turn`` counts quarter turns (``View.turn``).
    """
    lengths = Lengths.on(table, units)
    view = View(table=table, width_px=width_px, legend=False, turn=turn)
    svg = root(view.box, width_px, title="Set-up guide", description=said, kind="setting-up")
    draw_table(svg, view)
    plates = _Plates(
        view,
        (
            *(ball.centre_mm for ball in (*found.now.balls, *found.missing)),
            *(move.to_mm for move in found.wrong),
        ),
    )
    places = add(svg, "g", class_="places")
    for move in found.wrong:
        _place(places, view, move.ball, move.to_mm)
    for ball in found.missing:
        _place(places, view, ball.id, ball.centre_mm)
        plates.add(places, view.at(ball.centre_mm), f"put {ball.id}")
    balls = add(svg, "g", class_="balls")
    for ball in found.now.balls:
        draw_ball(balls, view, ball, lengths)
    marks = add(svg, "g", class_="moves")
    words = add(svg, "g", class_="words")  # over all arrows: none strikes a word through
    for ball in found.extra:
        _off(marks, view, ball.centre_mm, ball.id)
        plates.add(words, view.at(ball.centre_mm), f"{ball.id} off")
    for move in found.moves:
        if move.is_right:
            _tick(marks, view, move)
        else:
            _arrow(marks, view, move, lengths)
            told = f"{move.ball} · {lengths.text(move.off_mm)}"
            plates.add(words, view.at(move.to_mm), told)
    return text_of(svg)


def _place(parent: ET.Element, view: View, ball: str, place_mm: PointMm) -> None:
    x, y = view.at(place_mm)
    group = add(parent, "g", transform=f"translate({number(x)} {number(y)})")
    add(group, "title", f"place of the {ball_name(ball)}")
    ball_symbol(add(group, "g", opacity=0.4, class_="ball-mark"), ball, BALL_RADIUS_MM)
    add(
        group, "circle", r=BALL_RADIUS_MM + 3, fill="none", stroke=palette.GHOST, stroke_width=5,
        stroke_dasharray="12 8",
    )  # fmt: skip


def _tick(parent: ET.Element, view: View, move: Move) -> None:
    """A ring, and a tick beside the ball; a question mark where the reading cannot tell."""
    x, y = view.at(move.from_mm)
    group = add(parent, "g", stroke=_RIGHT, fill="none", stroke_width=6, class_="right")
    add(group, "circle", cx=x, cy=y, r=BALL_RADIUS_MM + 8)
    x, y = x + BALL_RADIUS_MM + 14, y - BALL_RADIUS_MM - 8
    if move.is_sure:
        tick = points(((x - 10, y), (x, y + 12), (x + 20, y - 16)))
        add(group, "polyline", points=tick, stroke_linecap="round", stroke_linejoin="round")
    else:
        add(
            group, "text", "?", x=x, y=y + 12, fill=_RIGHT, stroke="none", font_size=52,
            font_weight="700",
        )  # fmt: skip


def _off(parent: ET.Element, view: View, place_mm: PointMm, ball: str) -> None:
    """A cross over a ball that has to leave the table."""
    x, y = view.at(place_mm)
    r = BALL_RADIUS_MM + 10
    group = add(parent, "g", stroke=_WRONG, stroke_width=8, stroke_linecap="round", class_="off")
    add(group, "title", f"take the {ball_name(ball)} off")
    add(group, "line", x1=x - r, y1=y - r, x2=x + r, y2=y + r)
    add(group, "line", x1=x - r, y1=y + r, x2=x + r, y2=y - r)


def _arrow(parent: ET.Element, view: View, move: Move, lengths: Lengths) -> None:
    """From the ball to its place."""
    tail, tip = view.at(move.from_mm), view.at(move.to_mm)
    group = add(parent, "g", class_="move", data_ball=move.ball)
    add(group, "title", f"{ball_name(move.ball)}: {lengths.text(move.off_mm)} to its place")
    if move.off_mm > _ARROW_FROM_MM:
        for stroke, width in ((palette.BALL_INK, 13.0), (_WRONG, 7.0)):
            add(
                group, "line", x1=tail[0], y1=tail[1], x2=tip[0], y2=tip[1], stroke=stroke,
                stroke_width=width, stroke_linecap="round",
            )  # fmt: skip
        size = min(34.0, move.off_mm * 0.8)
        add(
            group, "polygon", points=points(arrow_head(tip, tail, size)), fill=_WRONG,
            stroke=palette.BALL_INK, stroke_width=2.5,
        )  # fmt: skip
    else:
        x, y = tail
        add(
            group, "circle", cx=x, cy=y, r=BALL_RADIUS_MM + 8, fill="none", stroke=_WRONG,
            stroke_width=6, stroke_dasharray="16 8",
        )  # fmt: skip


class _Plates:
    """Words on dark plates beside places, where they hide neither a ball, a place nor each other.

    The side toward the middle of the table is tried first, then round about in turn.
    """

    def __init__(self, view: View, taken: Iterable[PointMm]) -> None:
        self._view = view
        self._middle = view.at((view.table.length_mm / 2, view.table.width_mm / 2))
        self._taken = [(x, y, _RING_MM, _RING_MM) for x, y in map(view.at, taken)]
        corners = view.at((0.0, 0.0)), view.at(view.table.surface_mm)
        self._bed = tuple(sorted(ends) for ends in zip(*corners, strict=True))

    def add(self, parent: ET.Element, at: PointMm, words: str) -> None:
        """A plate beside a place of the drawing."""
        size = 17 * self._view.mm_per_px
        half = (size * (0.31 * len(words) + 0.5), size * 0.78)
        first = math.atan2(self._middle[1] - at[1], self._middle[0] - at[0])
        tried = [self._beside(at, first + turn, half) for turn in _TURNS]
        x, y = min(tried, key=lambda spot: self._hidden(spot, half))
        self._taken.append((x, y, *half))
        add(
            parent, "rect", x=x - half[0], y=y - half[1], width=2 * half[0], height=2 * half[1],
            rx=size * 0.5, fill=palette.FRAME, opacity=0.88,
        )  # fmt: skip
        add(
            parent, "text", words, x=x, y=y + size * 0.35, text_anchor="middle", font_size=size,
            font_weight="700", fill=_WRONG,
        )  # fmt: skip

    @staticmethod
    def _beside(at: PointMm, angle: float, half: tuple[float, float]) -> PointMm:
        toward = (math.cos(angle), math.sin(angle))
        reach = BALL_RADIUS_MM + 20 + abs(toward[0]) * half[0] + abs(toward[1]) * half[1]
        return (at[0] + toward[0] * reach, at[1] + toward[1] * reach)

    def _hidden(self, spot: PointMm, half: tuple[float, float]) -> float:
        """How much lies under a plate there, mm²; what leaves the bed counts too."""
        out = 0.0
        for x, y, wide, high in self._taken:
            across = min(spot[0] + half[0], x + wide) - max(spot[0] - half[0], x - wide)
            down = min(spot[1] + half[1], y + high) - max(spot[1] - half[1], y - high)
            out += max(across, 0.0) * max(down, 0.0)
        for k, (low, high) in enumerate(self._bed):
            beyond = max(low - (spot[k] - half[k]), spot[k] + half[k] - high, 0.0)
            out += beyond * 2 * half[1 - k]
        return out
