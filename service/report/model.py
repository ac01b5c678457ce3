"""What a report holds: texts and drawings, made once from a session's results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from calibration.table import Table
from service.drawing import overlay_svg, top_view_svg
from service.words.calibration import calibration_lines
from vision.layout import Layout

from .attempt_words import Fact, facts, headline, intent_words
from .figures import LandingPoint, StripRow, landings_svg, residuals_svg
from .kind_words import KindRow, kind_lines, kind_rows
from .summary_words import Tile, summary_lines, tiles
from .tables import AttemptRow, attempt_row

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from service.practice import Attempt, SessionResult

OVERLAY_WIDTH_PX = 1280
_TONES = {"in": "in", "out": "out", "too close to call": "close"}


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
    intent_words: str
    row: AttemptRow | None
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
    tiles: tuple[Tile, ...]
    summary_lines: tuple[str, ...]
    kind_rows: tuple[KindRow, ...]
    kind_lines: tuple[str, ...]
    landings_svg: str
    landings_note: str
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
    stills: Mapping[str, bytes] = field(default_factory=dict)
    """Bytes of stills by the names that the readings carry."""
    accuracy: Accuracy | None = None


def make_report(result: SessionResult, source: Source) -> Report:
    """The report of a scored session."""
    made = source.calibration
    points = landing_points(result.attempts)
    empty = None
    if made is not None and source.empty_still is not None:
        nothing = Layout(still="of the empty table", surface_mm=made.table.surface_mm)
        empty = overlay_svg(source.empty_still, made, nothing, width_px=OVERLAY_WIDTH_PX)
    return Report(
        heading=source.heading,
        lead=source.lead,
        provenance=source.provenance,
        tiles=tuple(tiles(result.summary)),
        summary_lines=tuple(summary_lines(result.summary)),
        kind_rows=tuple(kind_rows(result.summary.by_kind)),
        kind_lines=tuple(kind_lines(result.summary.by_kind)),
        landings_svg=landings_svg(points),
        landings_note=_landings_note(points),
        attempts=tuple(attempt_part(attempt, source) for attempt in result.attempts),
        doubts=doubts_of(result),
        calibration_lines=() if made is None else tuple(calibration_lines(made)),
        residuals_svg=None if made is None or not made.residuals else _residuals(made),
        calibration_still=empty,
        accuracy=source.accuracy,
    )


def attempt_part(attempt: Attempt, source: Source) -> AttemptPart:
    """One attempt's drawings and words."""
    verdict, before, after = attempt.verdict, attempt.before_layout, attempt.after_layout
    shown = after or before
    top_view = None
    if shown is not None:
        top_view = top_view_svg(
            source.table,
            shown,
            before=before if after is not None else None,
            verdict=verdict,
            width_px=1064,
        )
    overlay = None
    still = source.stills.get(attempt.after)
    if still is not None and after is not None and source.calibration is not None:
        overlay = overlay_svg(
            still, source.calibration, after, verdict=verdict, width_px=OVERLAY_WIDTH_PX
        )
    intent = None if verdict is None else verdict.intent
    return AttemptPart(
        number=attempt.attempt,
        before=attempt.before,
        after=attempt.after,
        tone="refused" if verdict is None else _TONES.get(verdict.verdict or "", "none"),
        headline="Refused" if verdict is None else headline(verdict),
        intent_words="" if intent is None else intent_words(intent),
        row=None if verdict is None else attempt_row(verdict),
        facts=()
        if verdict is None or intent is None
        else tuple(facts(source.table, before, after, intent, verdict)),
        warnings=() if verdict is None else verdict.warnings,
        refusal=attempt.refused_why,
        top_view=top_view,
        overlay=overlay,
    )


def landing_points(attempts: Sequence[Attempt]) -> list[LandingPoint]:
    """Landing spots against wanted spots, of the attempts where both are known."""
    out = []
    for attempt in attempts:
        verdict = attempt.verdict
        if verdict is None or verdict.offset_along_mm is None or verdict.offset_across_mm is None:
            continue
        out.append(
            LandingPoint(
                label=str(attempt.attempt),
                along_mm=verdict.offset_along_mm,
                across_mm=verdict.offset_across_mm,
                verdict=verdict.verdict or "",
            )
        )
    return out


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


def _landings_note(points: Sequence[LandingPoint]) -> str:
    if not points:
        return "No attempt had both a stop and a wanted spot."
    counts = {
        words: sum(point.verdict == verdict for point in points)
        for verdict, words in (
            ("in", "in the zone"),
            ("out", "out"),
            ("too close to call", "too close to call"),
        )
    }
    return ", ".join(f"{count} {words}" for words, count in counts.items() if count) + "."


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
