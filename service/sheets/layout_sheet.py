"""A kept layout on paper: its drawing with diamonds and each ball's place from two rails."""

from __future__ import annotations

import math
from collections.abc import Sequence

from calibration.table import PointMm
from service.drawing.frame import View
from service.layouts.entry import KeptLayout, table_of
from service.layouts.files import carried_json, plain_svg, zone_of
from service.layouts.inside import ATTACHED_NAME
from service.position import Player
from service.words.balls import ball_name, error_95_mm
from service.words.laying.guide import RAILS, nearest_rails, shot_words
from service.words.lengths import Lengths, Units, diamonds
from service.words.plain import NONE, capital

from .page import SIDE_MM, Paper
from .tiles import add_tiles

_ROW_MM = 6.2
_COLUMNS = (("ball", 0.0), ("from the short rail", 38.0), ("from the long rail", 89.0))
_DIAMONDS_AT, _ERROR_AT = 141.0, 168.0
_AROUND_MM = 17.0
"""Head and foot of the table of places, and a gap."""
_LABEL_PT, _LABEL_OFF_MM = 8.0, 4.2
_LABEL_SIDES = tuple((math.cos(k * math.pi / 4), math.sin(k * math.pi / 4)) for k in range(8))


def layout_pdf(
    kept: KeptLayout,
    *,
    tiles: bool = False,
    player: Player | None = None,
    units: Units = Units.MM,
) -> bytes:
    """The sheet, and with ``tiles`` every ball's surroundings 1:1 for paper markers.

    The layout itself is attached, so that it can be read back.

    Raises:
        IntentError: the shot that goes with the layout does not suit it.
    """
    paper = Paper(kept.title)
    paper.attach(ATTACHED_NAME, carried_json(kept).encode())
    y = add_heading(paper, kept, 20.0, player=player) + 4
    y = add_drawing(paper, kept, plain_svg(kept, player=player, units=units), y)
    add_places(paper, kept, y + 8, units)
    paper.end_page(kept.title)
    if tiles:
        add_tiles(paper, kept)
    return paper.finished()


def add_heading(
    paper: Paper,
    kept: KeptLayout,
    y_mm: float,
    size_pt: float = 20.0,
    *,
    player: Player | None = None,
) -> float:
    """Title, note, tags and the shot; returns where the next may start."""
    paper.text(SIDE_MM, y_mm, kept.title, size_pt, bold=True, room_mm=paper.room_mm)
    y_mm += 1
    if kept.note:
        y_mm = paper.paragraph(y_mm, kept.note, 10, most=8)
    if kept.intent is not None:
        zone = zone_of(kept, player=player)
        y_mm = paper.paragraph(y_mm, shot_words(kept.intent, zone), 10, most=4)
    if kept.tags:
        y_mm += 5
        paper.text(SIDE_MM, y_mm, "  ·  ".join(kept.tags), 9, muted=True, room_mm=paper.room_mm)
    return y_mm


def add_drawing(paper: Paper, kept: KeptLayout, svg: str, y_mm: float) -> float:
    """The drawing as wide as the page leaves room for the places, with large numbers at the balls.

    Returns where the next may start.
    """
    layout = kept.layout
    has_legend = kept.intent is not None
    view = View(table=table_of(layout), width_px=960, legend=has_legend)
    left, top, wide, high = view.box
    room_mm = paper.bottom_mm - y_mm - _AROUND_MM - _ROW_MM * len(layout.balls)
    wide_mm = min(paper.room_mm, room_mm * wide / high)
    paper_left = SIDE_MM + (paper.room_mm - wide_mm) / 2
    high_mm = paper.drawing(svg, left_mm=paper_left, top_mm=y_mm, wide_mm=wide_mm)
    scale = wide_mm / wide
    places = {ball.id: view.at(ball.centre_mm) for ball in layout.balls}
    for name, (x, y) in places.items():
        dx, dy = _emptiest_side((x, y), [p for n, p in places.items() if n != name], scale)
        at_x = paper_left + (x - left) * scale + dx * _LABEL_OFF_MM
        at_y = y_mm + (y - top) * scale + dy * _LABEL_OFF_MM + 1.0
        paper.text(at_x, at_y, name, _LABEL_PT, bold=True, align="middle")
    return y_mm + high_mm


def _emptiest_side(place: PointMm, others: Sequence[PointMm], scale: float) -> tuple[float, float]:
    """The direction in which a label beside a ball stands farthest from other balls."""
    reach = _LABEL_OFF_MM / scale

    def room(side: tuple[float, float]) -> float:
        at = (place[0] + side[0] * reach, place[1] + side[1] * reach)
        return min((math.dist(at, other) for other in others), default=math.inf)

    # far enough is far enough: above, where nothing is in the way
    return max(_LABEL_SIDES, key=lambda side: (min(room(side), 4 * reach), -side[1]))


def add_places(paper: Paper, kept: KeptLayout, y_mm: float, units: Units = Units.MM) -> float:
    """A row a ball: its distances from the two nearer rails and its diamonds."""
    surface = kept.layout.surface_mm
    lengths = Lengths(units=units if units is not Units.DIAMONDS else Units.MM, surface_mm=surface)
    for words, x in (
        *_COLUMNS,
        ("diamonds", _DIAMONDS_AT),
        (f"± {lengths.sign} (95 %)", _ERROR_AT),
    ):
        paper.text(SIDE_MM + x, y_mm, words, 8, muted=True)
    for ball in kept.layout.balls:
        y_mm += _ROW_MM
        paper.line(SIDE_MM, y_mm + 1.7, SIDE_MM + paper.room_mm, y_mm + 1.7, gray=0.8)
        name = capital(ball_name(ball.id)) + (" (name in doubt)" if ball.doubtful else "")
        paper.text(SIDE_MM, y_mm, name, 10.5, bold=True, room_mm=_COLUMNS[1][1] - 2)
        for (rail, mm), (_, x) in zip(
            nearest_rails(ball.centre_mm, surface), _COLUMNS[1:], strict=True
        ):
            paper.text(SIDE_MM + x, y_mm, f"{lengths.text(mm, fine=True)}", 10.5, bold=True)
            paper.text(SIDE_MM + x + 23, y_mm, RAILS[rail].removeprefix("the "), 9)
        paper.text(SIDE_MM + _DIAMONDS_AT, y_mm, diamonds(surface, ball.centre_mm), 10.5)
        error = error_95_mm(ball)
        said = lengths.number(error, fine=True) if error else NONE
        paper.text(SIDE_MM + _ERROR_AT, y_mm, said, 10.5)
    y_mm += 2.5
    length, width = surface
    return paper.paragraph(
        y_mm,
        "Distances run square to the rails, from the cushion's nose line to the ball's centre. "
        f"Diamonds count from the head rail and from the right long rail. The table is {length:g} "
        f"by {width:g} mm between the noses; left and right are those of a player at the head end "
        "who looks to the foot.",
        8,
    )
