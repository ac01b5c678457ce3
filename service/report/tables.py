"""Results as tables on a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from calibration.table import Table
from service.position.verdict.judged import judged_angle, judged_side
from vision.layout import Layout

from .attempt_words import angle_asked, facts, headline, intent_words
from .kind_words import kind_rows
from .progress_words import session_rows
from .words import signed

if TYPE_CHECKING:
    from service.position import Verdict
    from service.practice import Attempt
    from service.practice.statistics.by_kind import Split
    from service.practice.statistics.progress import SessionFigures

STYLES = {"in": "bold green", "out": "bold red", "too close to call": "bold yellow"}


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptRow:
    """One attempt's figures as short texts, for terminal and page alike."""

    pot: str
    verdict: str
    miss: str
    along: str
    across: str
    cut: str
    wanted: str
    side: str
    chance: str


def attempt_row(verdict: Verdict) -> AttemptRow:
    """The figures of a scored attempt; a dash where one does not apply."""
    intent = verdict.intent
    limits = intent.cut_deg if intent is not None and intent.next is not None else (0.0, 90.0)
    side = verdict.side or "–"
    judged = judged_side(verdict.side, intent.side) if intent is not None else ""
    pot = {True: "made", False: "missed", None: "–"}[verdict.pot_made]
    return AttemptRow(
        pot=f"{pot}, scratch" if verdict.scratch else pot,
        verdict=verdict.verdict or "–",
        miss="–" if verdict.miss_mm is None else f"{verdict.miss_mm:.0f}",
        along="–" if verdict.along_mm is None else signed(verdict.along_mm),
        across="–" if verdict.across_mm is None else signed(verdict.across_mm),
        cut="–" if verdict.cut_deg is None else f"{verdict.cut_deg:.0f}°",
        wanted="–" if limits == (0.0, 90.0) else f"{limits[0]:g}–{limits[1]:g}°",
        side=f"{side}, wrong side" if judged == "wrong side" else side,
        chance="–" if verdict.pot_chance is None else f"{100 * verdict.pot_chance:.0f} %",
    )


def verdict_grid(table: Table, before: Layout, after: Layout, verdict: Verdict) -> Grid:
    """One verdict with its facts."""
    assert verdict.intent is not None
    grid = Grid(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column(style="dim")
    grid.add_column()
    grid.add_row("intent", escape(intent_words(verdict.intent)))
    style = STYLES.get(verdict.verdict or "", "bold")
    grid.add_row("verdict", f"[{style}]{escape(headline(verdict))}[/]")
    for fact in facts(table, before, after, verdict.intent, verdict):
        value = escape(fact.value)
        grid.add_row(fact.label.lower(), f"[red]{value}[/]" if fact.bad else value)
    return grid


def attempts_grid(attempts: Sequence[Attempt]) -> Grid:
    """A session's attempts, one a row."""
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("no", justify="right")
    grid.add_column("pot")
    grid.add_column("verdict")
    for heading in ("miss mm", "long+ short−", "left+ right−", "cut left", "wanted"):
        grid.add_column(heading, justify="right")
    grid.add_column("side")
    grid.add_column("chance left", justify="right")
    for attempt in attempts:
        if attempt.verdict is None:
            grid.add_row(str(attempt.attempt), "", f"[bold]refused[/] ({attempt.refused_code})")
            continue
        row = attempt_row(attempt.verdict)
        style = STYLES.get(row.verdict, "")
        grid.add_row(
            str(attempt.attempt), row.pot, f"[{style}]{row.verdict}[/]" if style else row.verdict,
            row.miss, row.along, row.across, _cut(attempt.verdict, row.cut), row.wanted,
            row.side, row.chance,
        )  # fmt: skip
    return grid


def kinds_grid(splits: Sequence[Split]) -> Grid:
    """Figures by kind of shot, one kind a row."""
    grid = _grid("by", "kind")
    for row in kind_rows(splits):
        grid.add_row(
            row.by, row.label, str(row.attempts), row.zone, row.interval, row.long_short,
            row.left_right, row.speed, row.line,
        )  # fmt: skip
    return grid


def sessions_grid(sessions: Sequence[SessionFigures]) -> Grid:
    """Sessions over weeks, one a row, oldest first."""
    grid = _grid("no", "day")
    for row in session_rows(sessions):
        grid.add_row(
            str(row.number), row.day, str(row.attempts), row.zone, row.interval, row.long_short,
            row.left_right, row.speed, row.line,
        )  # fmt: skip
    return grid


def _grid(*leading: str) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in leading:
        grid.add_column(heading)
    for heading in (
        "attempts", "in the zone", "95 % interval", "long+ short−",
        "left+ right−", "speed spread", "line spread",
    ):  # fmt: skip
        grid.add_column(heading, justify="right")
    return grid


def _cut(verdict: Verdict, words: str) -> str:
    asked = angle_asked(verdict.intent) if verdict.intent is not None else None
    judged = judged_angle(verdict.cut_deg, asked)
    return f"[red]{words}[/]" if judged not in ("", "good angle") else words
