"""What the attempts add up to: the answer first, then what it rests on."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from service.desk.stored import calibration_of
from service.desk.sums import columns_of, lately_of, standing_of
from service.desk.verdicts import verdict_of
from service.drawing.charts.landings import LandingPoint, landings_svg
from service.position.verdict.verdict import VERDICTS
from service.practice.columns import Columns
from service.practice.standing import Standing
from service.practice.statistics.outcomes import is_split, offsets_mm
from service.store import AttemptRecord, Reader
from service.words.facts import Fact
from service.words.kinds import KindRow, headings, kind_lines, kind_rows
from service.words.lengths import Lengths
from service.words.plain import counted
from service.words.progress import standing_headline, standing_lines
from service.words.rows import AttemptRow, attempt_row
from service.words.summary import summary_facts

from ..frame import Shown
from .weeks import ProgressView, progress_view

ATTEMPTS_SHOWN = 12
STOPS_SHOWN = 200
"""More dots than these tell nothing more; ellipse and circle are those of every stop."""
FIRST_FACTS = 4
FOLDED = ("all-figures", "by-kind", "weeks")
"""What is worked out only once it is opened, so that the answer stands there at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """An attempt's row in the list."""

    number: int
    day: str
    figures: AttemptRow
    is_struck: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgressPageView:
    """The page, as text and drawings."""

    headline: str
    aside: str = ""
    first: tuple[Fact, ...] = ()
    """The figures that are looked at first."""
    folded: frozenset[str] = frozenset()
    """What of ``FOLDED`` there is to open."""
    opened: frozenset[str] = frozenset()
    """What of it is here already."""
    rest: tuple[Fact, ...] = ()
    lines: tuple[str, ...] = ()
    scatter: Markup | None = None
    scatter_words: str = ""
    kinds: tuple[KindRow, ...] = ()
    kind_lines: tuple[str, ...] = ()
    headings: tuple[str, ...] = ()
    weeks: ProgressView | None = None
    rows: tuple[Row, ...] = ()
    older: int | None = None
    """The ``before`` of the older part of the list; None where there is none."""
    unit: str = ""


def progress_page_view(
    reader: Reader, shown: Shown, *, before: int | None, opened: Collection[str] = ()
) -> ProgressPageView:
    """How the player at that table stands; ``opened`` of ``FOLDED`` is worked out too."""
    player = reader.table(shown.table).player_id
    record = reader.calibration(table_id=shown.table)
    lengths = (
        Lengths(units=shown.units)
        if record is None
        else Lengths.on(calibration_of(record).table, shown.units)
    )
    shots = columns_of(reader, player_id=player)
    found = standing_of(shots, told_apart="by-kind" in opened or "all-figures" in opened)
    listed = reader.attempts(limit=ATTEMPTS_SHOWN + 1, before=before, player_id=player, struck=None)
    rows, older = listed[:ATTEMPTS_SHOWN], len(listed) > ATTEMPTS_SHOWN
    facts = summary_facts(found.summary, lengths) if found.attempts else ()
    return ProgressPageView(
        headline=standing_headline(found) if found.attempts else "No attempts yet",
        aside=_aside(found),
        # how many they are stands above them
        first=facts[1:FIRST_FACTS],
        folded=_folded(found),
        opened=frozenset(FOLDED).intersection(opened),
        rest=facts[:1] + facts[FIRST_FACTS:],
        lines=tuple(standing_lines(found, lengths)),
        **_scatter(shots, found, lengths),
        kinds=tuple(kind_rows(found.summary.by_kind, lengths)),
        kind_lines=tuple(kind_lines(found.summary.by_kind)),
        headings=tuple(headings(lengths)),
        weeks=_weeks(reader, shown, lengths) if "weeks" in opened else None,
        rows=tuple(_row(each, lengths) for each in rows),
        older=rows[-1].id if older else None,
        unit=lengths.sign,
    )


def _aside(found: Standing) -> str:
    if not found.attempts:
        return "One is made when the still after a shot arrives while a shot is planned."
    return f"{counted(found.attempts, 'attempt')} in {counted(found.sessions, 'session')}"


def _scatter(shots: Columns, found: Standing, lengths: Lengths) -> dict[str, Any]:
    """Stops about the wanted spot, those whose arrival line is known."""
    split = is_split(shots)
    all_mm = offsets_mm(shots)
    offsets, called = all_mm[-STOPS_SHOWN:], shots.called[split][-STOPS_SHOWN:]
    if not len(offsets):
        return {}
    points = [
        LandingPoint(
            label="",
            along_mm=float(along),
            across_mm=float(across),
            verdict=VERDICTS[code] if code >= 0 else "",
        )
        for (along, across), code in zip(offsets, called, strict=True)
    ]
    half_mm = found.summary.landing.half_within_mm
    drawn = landings_svg(points, lengths, half_within_mm=half_mm, all_mm=all_mm)
    newest = "The newest " if len(all_mm) > len(points) else ""
    words = [
        f"{newest}{counted(len(points), 'stop')} about the wanted spot in the middle, seen "
        "along the arrival line. Disc: in the zone; ring: out; diamond: too close to call."
    ]
    if half_mm is not None:
        words.append(
            f"The full circle about the average stop (cross) holds half of the "
            f"{'stops' if not newest else f'{len(all_mm):,} stops'}, {lengths.text(half_mm)}; the "
            "dashed ellipse 95 %."
        )
    return {"scatter": Markup(drawn), "scatter_words": " ".join(words)}


def _folded(found: Standing) -> frozenset[str]:
    """Weeks are compared from the second session on, or where there was a set."""
    own = frozenset(FOLDED[:2]) if found.attempts else frozenset()
    return own | {FOLDED[2]} if found.sessions > 1 or found.in_sets else own


def _weeks(reader: Reader, shown: Shown, lengths: Lengths) -> ProgressView | None:
    return progress_view(lately_of(reader, table_id=shown.table), lengths)


def _row(attempt: AttemptRecord, lengths: Lengths) -> Row:
    return Row(
        number=attempt.id,
        day=attempt.made_at.astimezone().strftime("%Y-%m-%d"),
        figures=attempt_row(verdict_of(attempt), lengths),
        is_struck=attempt.struck_at is not None,
    )
