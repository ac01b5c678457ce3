"""A kept practice as a sheet of paper: what the report says of a session, from the store."""

from __future__ import annotations

from typing import Any

from service.desk.scene import Scene
from service.desk.sums import statistics_of
from service.desk.verdicts import verdict_of
from service.position import Verdict
from service.practice import Attempt
from service.practice.standing import Standing
from service.sheets.practice_sheet import AttemptOnPaper, PracticeOnPaper
from service.store import AttemptRecord, PracticeRecord, Reader
from service.words.kinds import headings, kind_lines, kind_rows
from service.words.lengths import Lengths, Units
from service.words.plain import counted
from service.words.progress import standing_headline, standing_lines
from service.words.summary import summary_facts, summary_lines

from .model import AttemptPart, Source, attempt_part, landings

ATTEMPTS_DRAWN = 200
"""The newest of a practice; 200 are some 40 pages."""
UNTITLED = "Practice"
_PLAIN = ("Zone", "Path of the next ball", "Hooked", "Reach")
"""Facts that a small space says only where something is wrong."""


def practice_on_paper(reader: Reader, number: int, *, units: Units = Units.MM) -> PracticeOnPaper:
    """The sheet of that practice; struck attempts are drawn and count for nothing.

    Raises:
        NotFoundError: there is no practice of that number.
    """
    record = reader.practice(number)
    newest = reader.attempts(limit=ATTEMPTS_DRAWN + 1, practice_id=number, struck=None)
    drawn = newest[:ATTEMPTS_DRAWN][::-1]
    scenes = [Scene.of_attempt(reader, each) for each in drawn]
    lengths = Lengths.on(scenes[-1].table, units) if scenes else Lengths(units=units)
    found = statistics_of(reader, practice_id=number)
    by_kind = found.summary.by_kind
    shots = [_attempt(each, scene) for each, scene in zip(drawn, scenes, strict=True)]
    title = record.title or UNTITLED
    return PracticeOnPaper(
        title=title,
        lead=_lead(reader, record, found, len(drawn)),
        headline=standing_headline(found) if found.attempts else "No attempts yet",
        facts=summary_facts(found.summary, lengths) if found.attempts else (),
        lines=tuple(_lines(found, lengths)),
        kind_headings=tuple(headings(lengths)),
        kinds=tuple(kind_rows(by_kind, lengths)),
        kind_lines=tuple(kind_lines(by_kind)),
        **_stops([shot for shot, each in zip(shots, drawn, strict=True) if each.struck_at is None],
                 lengths),
        attempts=tuple(
            _on_paper(each, attempt_part(shot, _source(title, scene, units)))
            for each, shot, scene in zip(drawn, shots, scenes, strict=True)
        ),
        left_out=(
            f"Only the last {ATTEMPTS_DRAWN} attempts are drawn."
            if len(newest) > ATTEMPTS_DRAWN else ""
        ),
    )  # fmt: skip


def _lead(reader: Reader, record: PracticeRecord, found: Standing, drawn: int) -> str:
    began = record.began_at.astimezone()
    end = record.finished_at
    until = "still open" if end is None else f"to {end.astimezone():%H:%M}"
    struck = drawn - found.attempts if drawn <= ATTEMPTS_DRAWN else 0
    return (
        f"{began:%Y-%m-%d %H:%M} {until}  ·  {reader.player(record.player_id).name}  ·  "
        f"{reader.table(record.table_id).name}  ·  {counted(found.attempts, 'attempt')}"
        f"{f', {struck} more struck' if struck > 0 else ''}"
    )


def _lines(found: Standing, lengths: Lengths) -> list[str]:
    """What is said beside the headline, the figures and the kinds."""
    if not found.attempts:
        return []
    said = {*summary_lines(found.summary, lengths), *kind_lines(found.summary.by_kind)}
    return [line for line in standing_lines(found, lengths)[1:] if line not in said]


def _stops(shots: list[Attempt], lengths: Lengths) -> dict[str, Any]:
    if not any(shot.verdict is not None and shot.verdict.wanted_mm for shot in shots):
        return {}
    svg, words = landings(shots, lengths)
    return {"landings_svg": svg, "landings_words": words}


def _attempt(record: AttemptRecord, scene: Scene) -> Attempt:
    verdict: Verdict = scene.verdict or verdict_of(record)
    return Attempt(
        attempt=record.id,
        before=record.before.still.name,
        after=record.after.still.name,
        before_layout=record.before.layout,
        after_layout=record.after.layout,
        verdict=verdict,
    )


def _source(title: str, scene: Scene, units: Units) -> Source:
    return Source(heading=title, lead="", provenance="", table=scene.table, units=units)


def _on_paper(record: AttemptRecord, part: AttemptPart) -> AttemptOnPaper:
    return AttemptOnPaper(
        number=part.number,
        headline=part.headline,
        lines=tuple(
            line for line in (
                part.subline,
                part.intent_words,
                *(fact.line for fact in part.facts if fact.label not in _PLAIN or fact.tone),
                _how(record),
                *part.warnings,
            ) if line
        ),
        svg=part.top_view or "",
        is_struck=record.struck_at is not None,
    )  # fmt: skip


def _how(record: AttemptRecord) -> str:
    """Spin and rails, as the player noted them or as his drawn way has them."""
    known = [
        f"{words} {record.kind[key]}"
        for key, words in (("spin", "spin"), ("side_spin", "side spin"), ("rails", "rails"))
        if record.kind.get(key) is not None
    ]
    return f"Played with: {', '.join(known)}" if known else ""
