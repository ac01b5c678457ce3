"""Results as tables on a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rich import box
from rich.console import Group
from rich.markup import escape
from rich.table import Table as Grid

from service.words import rows
from service.words.facts import Fact, facts
from service.words.intents import intent_words
from service.words.kinds import FiguresRow, headings, kind_rows
from service.words.lengths import MILLIMETRES, Lengths
from service.words.progress import session_rows
from service.words.verdicts import headline
from vision.layout import Layout

if TYPE_CHECKING:
    from service.position import Verdict
    from service.practice import Attempt
    from service.practice.statistics.by_kind import Split
    from service.practice.statistics.progress import SessionFigures

STYLES = {"in": "green", "out": "red", "close": "yellow"}
"""Colour by a fact's or a verdict's tone."""
_VALUE_WIDTH = 36
_SPLIT_WIDTH = 24
"""Columns that hold a distance with its two sides on one line."""


def verdict_text(after: Layout, verdict: Verdict, lengths: Lengths = MILLIMETRES) -> Group:
    """One verdict with its facts."""
    assert verdict.intent is not None
    tone = rows.attempt_row(verdict, lengths).tone
    return Group(
        escape(intent_words(verdict.intent, lengths)),
        _styled(headline(verdict, lengths), tone, bold=True),
        facts_grid(facts(verdict, cue=after.ball("cue"), lengths=lengths)),
    )


def facts_grid(found: Iterable[Fact]) -> Grid:
    """Facts, one a row."""
    grid = Grid(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column(style="dim")
    grid.add_column(min_width=_VALUE_WIDTH)
    grid.add_column(style="dim")
    for fact in found:
        tone = fact.tone if fact.tone != "in" else ""
        grid.add_row(fact.label.lower(), _styled(fact.value, tone), escape(fact.aside))
    return grid


def attempts_grid(attempts: Sequence[Attempt], lengths: Lengths = MILLIMETRES) -> Grid:
    """A session's attempts, one a row."""
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("no", justify="right")
    for heading in ("pot", "verdict"):
        grid.add_column(heading)
    for heading in (rows.OUTSIDE_HEADING, rows.WANTED_HEADING):
        grid.add_column(f"{heading.lower()}, {lengths.sign}", min_width=_SPLIT_WIDTH)
    for heading in (rows.CUT_HEADING, "wanted"):
        grid.add_column(heading.lower(), justify="right", max_width=9)
    grid.add_column("side")
    grid.add_column(rows.CHANCE_HEADING.lower(), justify="right", max_width=8)
    for attempt in attempts:
        if attempt.verdict is None:
            grid.add_row(str(attempt.attempt), "", f"[bold]refused[/] ({attempt.refused_code})")
            continue
        row = rows.attempt_row(attempt.verdict, lengths)
        cut = _styled(row.cut, "out" if row.is_cut_bad else "")
        grid.add_row(
            str(attempt.attempt), row.made, _styled(row.verdict, row.tone, bold=True), row.outside,
            row.from_wanted, cut, row.wanted, row.side, row.chance,
        )  # fmt: skip
    return grid


def kinds_grid(splits: Sequence[Split], lengths: Lengths = MILLIMETRES) -> Grid:
    """Figures by kind of shot, one kind a row."""
    grid = _figures_grid(("by", "kind"), lengths)
    for row in kind_rows(splits, lengths):
        grid.add_row(row.by, row.label, *_figures(row.figures))
    return grid


def sessions_grid(sessions: Sequence[SessionFigures], lengths: Lengths = MILLIMETRES) -> Grid:
    """Sessions over weeks, one a row, oldest first."""
    grid = _figures_grid(("no", "day"), lengths)
    for row in session_rows(sessions, lengths):
        grid.add_row(str(row.number), row.day, *_figures(row.figures))
    return grid


def _figures_grid(leading: Sequence[str], lengths: Lengths) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in leading:
        grid.add_column(heading)
    for heading in headings(lengths):
        grid.add_column(heading.lower(), justify="right")
    return grid


def _figures(row: FiguresRow) -> tuple[str, ...]:
    return (
        str(row.attempts), row.zone, row.interval, row.long_short, row.left_right, row.speed,
        row.line,
    )  # fmt: skip


def _styled(text: str, tone: str, *, bold: bool = False) -> str:
    style = " ".join(part for part in ("bold" if bold else "", STYLES.get(tone, "")) if part)
    return f"[{style}]{escape(text)}[/]" if style else escape(text)
