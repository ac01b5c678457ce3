"""What a report holds: texts and drawings, made once from a session's results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from calibration.table import Table
from service.drawing import overlay_svg, top_view_svg
from service.drawing.charts.landings import LandingPoint, landings_svg
from service.words import rows
from service.words.calibration import calibration_lines
from service.words.facts import Fact, facts
from service.words.intents import intent_words
from service.words.kinds import KindRow, headings, kind_lines, kind_rows
from service.words.lengths import Lengths, Units
from service.words.plain import counted
from service.words.summary import summary_facts, tiles
from service.words.verdicts import headline, subline
from vision.layout import Ball, Layout

from .figures import StripRow, residuals_svg

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from service.practice import Attempt, SessionResult

OVERLAY_WIDTH_PX = 1280
MANY_OVERLAY_WIDTH_PX = 800
MANY = 24
"""With more attempts than this their stills are drawn smaller: about 0.1 MB each, not 0.3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Something a reading said beside its places."""

    still: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptPart:
    """One attempt as the page shows it."""

    number: int
    before: str
    after: str
    tone: str
    headline: str
    subline: str
    intent_words: str
    row: rows.AttemptRow | None
    facts: tuple[Fact, ...]
    warnings: tuple[str, ...]
    refusal: str | None
    top_view: str | None
    overlay: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """How a reading compares with a known truth, in words."""

    lead: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything on the page, ready to be set."""

    heading: str
    lead: str
    provenance: str
    unit: str
    """What stands behind lengths: ``mm``."""
    tiles: tuple[Fact, ...]
    """The summary's figures that stand large at its head."""
    summary: tuple[Fact, ...]
    """The rest of them."""
    kind_headings: tuple[str, ...]
    kind_rows: tuple[KindRow, ...]
    kind_lines: tuple[str, ...]
    landings_svg: str
    landings_caption: str
    attempts: tuple[AttemptPart, ...]
    doubts: tuple[Doubt, ...]
    calibration_lines: tuple[str, ...] = ()
    residuals_svg: str | None = None
    calibration_still: str | None = None
    accuracy: Accuracy | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What a report is made from beside the session's result."""

    heading: str
    lead: str
    provenance: str
    table: Table
    calibration: Calibration | None = None
    empty_still: bytes | None = None
    units: Units = Units.MM
    """What lengths are shown in."""
    stills: Mapping[str, bytes] = field(default_factory=dict)
    """Bytes of stills by the names that the readings carry."""
    accuracy: Accuracy | None = None

    @property
    def lengths(self) -> Lengths:
        """How lengths of this table are said."""
        return Lengths.on(self.table, self.units)


def make_report(result: SessionResult, source: Source) -> Report:
    """The report of a scored session."""
    made, lengths = source.calibration, source.lengths
    drawn_landings, caption = landings(result.attempts, lengths)
    # one attempt alone adds up to nothing
    summary = summary_facts(result.summary, lengths) if len(result.attempts) > 1 else ()
    large = tiles(summary)
    width_px = OVERLAY_WIDTH_PX if len(result.attempts) <= MANY else MANY_OVERLAY_WIDTH_PX
    empty = None
    if made is not None and source.empty_still is not None:
        nothing = Layout(still="of the empty table", surface_mm=made.table.surface_mm)
        empty = overlay_svg(source.empty_still, made, nothing, width_px=OVERLAY_WIDTH_PX)
    return Report(
        heading=source.heading,
        lead=source.lead,
        provenance=source.provenance,
        unit=lengths.sign,
        tiles=large,
        summary=tuple(fact for fact in summary if fact not in large),
        kind_headings=tuple(headings(lengths)),
        kind_rows=tuple(kind_rows(result.summary.by_kind, lengths)),
        kind_lines=tuple(kind_lines(result.summary.by_kind)),
        landings_svg=drawn_landings,
        landings_caption=caption,
        attempts=tuple(attempt_part(attempt, source, width_px) for attempt in result.attempts),
        doubts=doubts_of(result),
        calibration_lines=() if made is None else tuple(calibration_lines(made, lengths.units)),
        residuals_svg=None if made is None or not made.residuals else _residuals(made),
        calibration_still=empty,
        accuracy=source.accuracy,
    )


def attempt_part(attempt: Attempt, source: Source, width_px: int = OVERLAY_WIDTH_PX) -> AttemptPart:
    """One attempt's drawings and words; ``width_px`` is that of its still."""
    verdict, before, after = attempt.verdict, attempt.before_layout, attempt.after_layout
    lengths = source.lengths
    shown = after or before
    top_view = None
    if shown is not None:
        top_view = top_view_svg(
            source.table,
            shown,
            before=before if after is not None else None,
            verdict=verdict,
            units=source.units,
            width_px=1064,
        )
    overlay = None
    still = source.stills.get(attempt.after)
    if still is not None and after is not None and source.calibration is not None:
        overlay = overlay_svg(
            still,
            source.calibration,
            after,
            verdict=verdict,
            units=source.units,
            width_px=width_px,
        )
    intent = None if verdict is None else verdict.intent
    row = None if verdict is None else rows.attempt_row(verdict, lengths)
    return AttemptPart(
        number=attempt.attempt,
        before=attempt.before,
        after=attempt.after,
        tone="refused" if row is None else row.tone,
        headline="Refused" if verdict is None else headline(verdict, lengths),
        subline="" if verdict is None else subline(verdict, lengths),
        intent_words="" if intent is None else intent_words(intent, lengths),
        row=row,
        facts=() if verdict is None else facts(verdict, cue=_cue(after), lengths=lengths),
        warnings=() if verdict is None else verdict.warnings,
        refusal=attempt.refused_why,
        top_view=top_view,
        overlay=overlay,
    )


def _cue(after: Layout | None) -> Ball | None:
    return None if after is None else after.ball("cue")


def landing_points(attempts: Sequence[Attempt]) -> list[LandingPoint]:
    """Stops against wanted spots along and across the arrival line, where that is known."""
    return [
        LandingPoint(
            label=str(attempt.attempt),
            along_mm=verdict.offset_along_mm,
            across_mm=verdict.offset_across_mm,
            verdict=verdict.verdict or "",
        )
        for attempt in attempts
        if (verdict := attempt.verdict) is not None
        and verdict.offset_along_mm is not None
        and verdict.offset_across_mm is not None
    ]


def table_points(attempts: Sequence[Attempt]) -> list[LandingPoint]:
    """Stops against wanted spots by the table's own axes."""
    return [
        LandingPoint(
            label=str(attempt.attempt),
            along_mm=verdict.cue_stop_mm[1] - verdict.wanted_mm[1],
            across_mm=verdict.wanted_mm[0] - verdict.cue_stop_mm[0],
            verdict=verdict.verdict or "",
        )
        for attempt in attempts
        if (verdict := attempt.verdict) is not None
        and verdict.wanted_mm is not None
        and verdict.cue_stop_mm is not None
    ]


def landings(attempts: Sequence[Attempt], lengths: Lengths) -> tuple[str, str]:
    """The drawing of the stops and its caption: by the arrival line where most have one."""
    by_line, by_table = landing_points(attempts), table_points(attempts)
    if 2 * len(by_line) < len(by_table):
        note = _landings_note(by_table, len(by_table))
        return landings_svg(by_table, lengths, by_table=True), f"{_BY_TABLE} {_SHAPES} {note}"
    note = _landings_note(by_line, len(by_table))
    return landings_svg(by_line, lengths), f"{_BY_LINE} {_SHAPES} {note}"


_BY_LINE = (
    "Where the cue ball stopped against the wanted spot in the middle, as you see it looking along "
    "the arrival line: long is up, left is left. The small circle is a ball in scale; the dashed "
    "ellipse holds about 95 % of such stops, the cross is the average stop."
)
_SHAPES = "Disc: in the zone; ring: out of it; diamond: too close to call."
_BY_TABLE = (
    "Where the cue ball stopped against the wanted spot in the middle, as the table lies, head on "
    "the left: of most stops no arrival line is known. The small circle is a ball in scale."
)


def doubts_of(result: SessionResult) -> tuple[Doubt, ...]:
    """Everything that readings doubted or refused, by still, each once."""
    found: dict[tuple[str, str], None] = {}
    for attempt in result.attempts:
        for name, layout in (
            (attempt.before, attempt.before_layout),
            (attempt.after, attempt.after_layout),
        ):
            for warning in layout.warnings if layout is not None else ():
                found[(name, warning)] = None
        if attempt.refused_why is not None:
            found[(f"attempt {attempt.attempt}", f"refused: {attempt.refused_why}")] = None
    for left in result.left_out:
        found[(left.name, left.reason)] = None
    return tuple(Doubt(still=still, text=text) for still, text in found)


def _landings_note(points: Sequence[LandingPoint], stops: int) -> str:
    """How the drawn stops ended, and how many more cannot be drawn."""
    if not points:
        return "No attempt had a wanted spot and a stop."
    counts = {
        words: sum(point.verdict == verdict for point in points)
        for verdict, words in (
            ("in", "in the zone"),
            ("out", "out"),
            ("too close to call", "too close to call"),
        )
    }
    note = ", ".join(f"{count} {words}" for words, count in counts.items() if count) + "."
    left_out = stops - len(points)
    if left_out:
        note += f" {counted(left_out, 'more stop')} without a known arrival line not drawn."
    return note


def _residuals(made: Calibration) -> str:
    kinds = dict.fromkeys(residual.kind for residual in made.residuals)
    return residuals_svg(
        [
            StripRow(
                label=kind, values_mm=tuple(r.off_mm for r in made.residuals if r.kind == kind)
            )
            for kind in kinds
        ]
    )
