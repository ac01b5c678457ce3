"""A practice on paper: the answer, its figures with their intervals, then attempt by attempt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.lens.sheet import POINTS_A_MM
from service.words.facts import Fact
from service.words.kinds import FiguresRow, KindRow

from .fonts import wrapped
from .page import LINE_SHARE, SIDE_MM, Paper

_TOP_MM = 20.0
_GAP_MM = 6.0
_DRAWN_MM = 72.0
"""Width of an attempt's drawing."""
_BESIDE_MM = SIDE_MM + _DRAWN_MM + 5.0
_LANDINGS_MM = 54.0, 80.0
"""Width of the drawing of the stops: as the page has room left, between these."""
_FACT_LABEL_MM, _FACT_ROW_MM = 44.0, 5.4
_KIND_MM, _COLUMN_MM = 42.0, 20.4
_SMALL_PT, _PLAIN_PT, _BOLD_PT, _HEAD_PT = 8.0, 9.5, 11.5, 13.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptOnPaper:
    """One attempt: its drawing small, and what is said of it."""

    number: int
    headline: str
    lines: tuple[str, ...]
    """What stands under the headline."""
    svg: str
    is_struck: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeOnPaper:
    """All words and drawings of the sheet."""

    title: str
    lead: str
    """When, where and by whom."""
    headline: str
    facts: tuple[Fact, ...]
    lines: tuple[str, ...]
    kind_headings: tuple[str, ...] = ()
    kinds: tuple[KindRow, ...] = ()
    kind_lines: tuple[str, ...] = ()
    landings_svg: str | None = None
    landings_words: str = ""
    attempts: tuple[AttemptOnPaper, ...] = ()
    left_out: str = ""
    """Which attempts are not drawn, where some are not."""


def practice_pdf(sheet: PracticeOnPaper) -> bytes:
    """The sheet as a PDF of A4 pages."""
    paper = _Written(Paper(sheet.title), sheet.title)
    paper.head(sheet)
    paper.facts(sheet.facts)
    paper.lines(sheet.lines)
    if sheet.landings_svg is not None:
        paper.landings(sheet.landings_svg, sheet.landings_words)
    if sheet.kinds:
        paper.kinds(sheet)
    paper.attempts(sheet)
    return paper.finished()


class _Written:
    """Pages filled from the top; what does not fit goes on the next."""

    def __init__(self, paper: Paper, title: str) -> None:
        self._paper, self._title = paper, title
        self._y_mm = _TOP_MM

    def head(self, sheet: PracticeOnPaper) -> None:
        """The answer in large type, then what the sheet is of."""
        self._words(sheet.headline, 20.0, bold=True)
        self._y_mm += 2.5
        self._words(sheet.title, _HEAD_PT, bold=True)
        self._words(sheet.lead, _PLAIN_PT)
        self._y_mm += _GAP_MM

    def facts(self, found: Sequence[Fact]) -> None:
        """A row a figure; what stands small beside it has its interval."""
        for fact in found:
            room = self._paper.room_mm - _FACT_LABEL_MM
            lines = wrapped(
                f"{fact.value}{f'  ({fact.aside})' if fact.aside else ''}",
                _PLAIN_PT, room * POINTS_A_MM,
            )  # fmt: skip
            self._need(_FACT_ROW_MM * len(lines))
            self._paper.text(SIDE_MM, self._y_mm, fact.label, _PLAIN_PT, muted=True,
                             room_mm=_FACT_LABEL_MM - 2)  # fmt: skip
            for line in lines:
                self._paper.text(SIDE_MM + _FACT_LABEL_MM, self._y_mm, line, _PLAIN_PT)
                self._y_mm += _FACT_ROW_MM

    def lines(self, found: Sequence[str]) -> None:
        """Sentences, a paragraph each."""
        if found:
            self._y_mm += 1
        for line in found:
            self._words(line, _PLAIN_PT)

    def landings(self, svg: str, words: str) -> None:
        """Where the stops lie about the wanted spot, its words beside it."""
        least, most = _LANDINGS_MM
        self._need(self._paper.drawn_mm(svg, least) + 3)
        self._y_mm += 3
        room = self._paper.bottom_mm - self._y_mm
        wide = min(max(room * least / self._paper.drawn_mm(svg, least), least), most)
        beside = SIDE_MM + wide + 6.0
        step, y = _PLAIN_PT * LINE_SHARE / POINTS_A_MM, self._y_mm + 8.0
        high = self._paper.drawing(svg, left_mm=SIDE_MM, top_mm=self._y_mm, wide_mm=wide)
        room_pt = (self._paper.size_mm[0] - SIDE_MM - beside) * POINTS_A_MM
        for line in wrapped(words, _PLAIN_PT, room_pt):
            y += step
            self._paper.text(beside, y, line, _PLAIN_PT)
        self._y_mm += high

    def kinds(self, sheet: PracticeOnPaper) -> None:
        """Figures by kind of shot."""
        self._heading("By kind of shot", 6 * _FACT_ROW_MM)
        for line in sheet.kind_lines:
            self._words(line, _PLAIN_PT)
        columns = [SIDE_MM + _KIND_MM + (k + 1) * _COLUMN_MM for k in range(7)]
        parts = [wrapped(each, 7.0, 18 * POINTS_A_MM) for each in sheet.kind_headings]
        self._y_mm += 2
        for k in range(max(map(len, parts))):
            self._y_mm += 3.2
            for x, lines in zip(columns, parts, strict=True):
                if k < len(lines):
                    self._paper.text(x, self._y_mm, lines[k], 7.0, muted=True, align="right")
        self._y_mm += 1.5
        for row in sheet.kinds:
            self._need(_FACT_ROW_MM)
            self._y_mm += _FACT_ROW_MM
            self._paper.text(SIDE_MM, self._y_mm, f"{row.by}: {row.label}", _SMALL_PT, bold=True,
                             room_mm=_KIND_MM)  # fmt: skip
            for x, text in zip(columns, _texts(row.figures), strict=True):
                self._paper.text(x, self._y_mm, text, _SMALL_PT, align="right", room_mm=19)

    def attempts(self, sheet: PracticeOnPaper) -> None:
        """Each with its drawing at the left and its words beside it."""
        if not sheet.attempts:
            return
        self._heading("Attempts", 60.0)
        if sheet.left_out:
            self._words(sheet.left_out, _PLAIN_PT)
        for attempt in sheet.attempts:
            self._attempt(attempt)

    def finished(self) -> bytes:
        """The PDF."""
        self._paper.end_page(self._title, to_scale=False)
        return self._paper.finished()

    def _attempt(self, attempt: AttemptOnPaper) -> None:
        room_pt = (self._paper.size_mm[0] - SIDE_MM - _BESIDE_MM) * POINTS_A_MM
        lines = [line for words in attempt.lines for line in wrapped(words, _SMALL_PT, room_pt)]
        step = _SMALL_PT * LINE_SHARE / POINTS_A_MM
        high = self._paper.drawn_mm(attempt.svg, _DRAWN_MM)
        self._need(max(high, 12 + step * len(lines)) + 4)
        top = self._y_mm
        self._paper.drawing(attempt.svg, left_mm=SIDE_MM, top_mm=top, wide_mm=_DRAWN_MM)
        y = top + 5
        said = f"{attempt.number}  {attempt.headline}{' (struck)' if attempt.is_struck else ''}"
        self._paper.text(_BESIDE_MM, y, said, _BOLD_PT, bold=True, room_mm=room_pt / POINTS_A_MM)
        y += 1.5
        for line in lines:
            y += step
            self._paper.text(_BESIDE_MM, y, line, _SMALL_PT)
        self._y_mm = max(top + high, y) + 4

    def _heading(self, words: str, with_mm: float) -> None:
        """A heading never stands alone at the foot of a page."""
        self._need(with_mm)
        self._y_mm += _GAP_MM
        self._paper.text(SIDE_MM, self._y_mm, words, _HEAD_PT, bold=True)
        self._y_mm += 3

    def _words(self, words: str, size_pt: float, *, bold: bool = False) -> None:
        step = size_pt * LINE_SHARE / POINTS_A_MM
        for line in wrapped(words, size_pt, self._paper.room_mm * POINTS_A_MM, bold=bold):
            self._need(step)
            self._y_mm += step
            self._paper.text(SIDE_MM, self._y_mm, line, size_pt, bold=bold)

    def _need(self, high_mm: float) -> None:
        if self._y_mm + high_mm > self._paper.bottom_mm and self._y_mm > _TOP_MM:
            self._paper.end_page(self._title, to_scale=False)
            self._y_mm = _TOP_MM


def _texts(figures: FiguresRow) -> tuple[str, ...]:
    return (
        str(figures.attempts), figures.zone, figures.interval, figures.long_short,
        figures.left_right, figures.speed, figures.line,
    )  # fmt: skip
