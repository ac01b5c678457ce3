"""A lesson on paper and as one HTML file that needs nothing beside itself."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from service.layouts.entry import KeptLayout
from service.layouts.files import plain_svg, zone_of
from service.layouts.lesson import Lesson
from service.position import Player
from service.words.balls import ball_name, error_95_mm
from service.words.laying.guide import RAILS, nearest_rails, shot_words
from service.words.lengths import Lengths, Units, diamonds
from service.words.plain import NONE, capital

from .layout_sheet import add_drawing, add_heading, add_places
from .page import SIDE_MM, Paper


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One ball's place as read on the page."""

    ball: str
    short: str
    long: str
    diamonds: str
    error: str


def lesson_pdf(lesson: Lesson, *, player: Player | None = None, units: Units = Units.MM) -> bytes:
    """A page a layout: title, note, drawing with its zone, places.

    Raises:
        IntentError: the shot that goes with a layout does not suit it.
    """
    paper = Paper(lesson.title)
    for number, kept in enumerate(lesson.parts, start=1):
        y = 18.0
        if number == 1:
            paper.text(SIDE_MM, y + 2, lesson.title, 22, bold=True, room_mm=paper.room_mm)
            y = paper.paragraph(y + 4, lesson.note, 10, most=8) + 11
        y = add_heading(paper, kept, y, 15, player=player) + 4
        y = add_drawing(paper, kept, plain_svg(kept, player=player, units=units), y)
        add_places(paper, kept, y + 8, units)
        paper.end_page(f"{lesson.title}  ·  {number} of {len(lesson.parts)}")
    return paper.finished()


def lesson_html(lesson: Lesson, *, player: Player | None = None, units: Units = Units.MM) -> str:
    """One file: no script, style and drawings inside, every text escaped.

    Raises:
        IntentError: the shot that goes with a layout does not suit it.
    """
    environment = Environment(
        loader=FunctionLoader(_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    parts = [
        {
            "kept": kept,
            "shot": (
                "" if kept.intent is None else shot_words(kept.intent, zone_of(kept, player=player))
            ),
            # the drawing escapes its own texts
            "drawing": Markup(plain_svg(kept, player=player, units=units)),
            "rows": _rows(kept, units),
        }
        for kept in lesson.parts
    ]
    return environment.get_template("lesson.html").render(
        lesson=lesson, parts=parts, style=Markup(_template("lesson.css"))
    )


def _rows(kept: KeptLayout, units: Units) -> list[_Row]:
    surface = kept.layout.surface_mm
    lengths = Lengths(units=units if units is not Units.DIAMONDS else Units.MM, surface_mm=surface)
    out = []
    for ball in kept.layout.balls:
        short, long = (
            f"{lengths.text(mm, fine=True)} from {RAILS[rail]}"
            for rail, mm in nearest_rails(ball.centre_mm, surface)
        )
        error = error_95_mm(ball)
        out.append(
            _Row(
                ball=capital(ball_name(ball.id)) + (", name in doubt" if ball.doubtful else ""),
                short=short,
                long=long,
                diamonds=diamonds(surface, ball.centre_mm),
                error=f"± {lengths.text(error, fine=True)}" if error else NONE,
            )
        )
    return out


def _template(name: str) -> str:
    return (files("service.sheets") / "templates" / name).read_text(encoding="utf-8")
