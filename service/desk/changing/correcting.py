"""Names of a reading put right or taken back, and attempts judged again on the new names."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from calibration.errors import RestmarkError
from calibration.table import Table
from service.desk.following.told import came_from_mm
from service.desk.judging import judged
from service.desk.refusals import later_correction
from service.desk.stored import calibration_behind, player_of
from service.position import Intent, Verdict
from service.practice.kinds import shot_kind
from service.store import (
    AttemptRecord,
    ChangeRecord,
    Circumstances,
    CorrectionRecord,
    NotFoundError,
    ReadingRecord,
    Writer,
)
from vision.layout import Layout
from vision.name.corrected import Correction, CorrectionError, corrected

NAMES, NAMES_BACK = "names", "names-back"


def correct_reading(writer: Writer, number: int, document: Mapping[str, Any]) -> dict[str, Any]:
    """Put names of the reading of that number right, and judge its attempts again.

    Returns the reading's and the attempts' part of the answer.
    """
    names = _corrections(document)
    was = writer.reading(number)
    layout = corrected(was.layout, names)
    before = _figures(writer, was)
    reading = writer.correct_reading(was, layout, [name.to_dict() for name in names])
    answer = judged_again(writer, number)
    _keep(writer, NAMES, before, writer.corrections(number)[-1], reading)
    return {"reading": reading.to_dict(), "attempts": answer}


def take_back(writer: Writer, number: int, correction: int) -> dict[str, Any]:
    """Have the reading as it was before its last correction, and judge its attempts again.

    Returns the reading's and the attempts' part of the answer.
    """
    last = _last_correction(writer, number, correction)
    before = _figures(writer, writer.reading(number))
    reading = writer.take_back(last)
    answer = judged_again(writer, number)
    _keep(writer, NAMES_BACK, before, last, reading)
    return {"reading": reading.to_dict(), "attempts": answer}


def put_back(writer: Writer, change: ChangeRecord) -> int:
    """Undo a correction: reading and attempts exactly as they were; the reading's number."""
    writer.drop_correction(int((change.after or {})["correction"]["id"]))
    return _put_figures(writer, change.before or {})


def say_again(writer: Writer, change: ChangeRecord) -> int:
    """Undo that a correction was taken back; the reading's number."""
    said = (change.after or {})["correction"]
    writer.put_correction(
        CorrectionRecord(
            id=int(said["id"]),
            made_at=datetime.fromisoformat(said["made_at"]),
            reading_id=int(said["reading_id"]),
            names=said["names"],
            layout_before=Layout.from_dict(said["layout_before"]),
        ),
        said["set_id"],
    )
    return _put_figures(writer, change.before or {})


def _keep(
    writer: Writer,
    kind: str,
    before: Mapping[str, Any],
    correction: CorrectionRecord,
    reading: ReadingRecord,
) -> None:
    """What undoing it needs."""
    ball_set = writer.ball_set(reading.table_id)
    said = correction.to_dict() | {
        "reading_id": correction.reading_id,
        "layout_before": correction.layout_before.to_dict(),
        "set_id": None if ball_set is None else ball_set.id,
    }
    writer.add_change(kind, table_id=reading.table_id, before=before, after={"correction": said})


def _figures(writer: Writer, reading: ReadingRecord) -> dict[str, Any]:
    """A reading's layout and its attempts' verdicts, as they are."""
    attempts = {
        str(attempt.id): {
            "verdict": dict(attempt.verdict),
            "offset_along_mm": attempt.offset_along_mm,
            "offset_across_mm": attempt.offset_across_mm,
            "travel_mm": attempt.kind["travel_mm"],
            "cut_deg": attempt.kind["cut_deg"],
        }
        for attempt in writer.attempts_with(reading.id)
    }
    return {
        "reading_id": reading.id, "layout": reading.layout.to_dict(), "attempts": attempts,
    }  # fmt: skip


def _put_figures(writer: Writer, before: Mapping[str, Any]) -> int:
    number = int(before["reading_id"])
    writer.put_layout(number, Layout.from_dict(before["layout"]))
    for attempt_id, values in before["attempts"].items():
        writer.put_verdict(writer.attempt(int(attempt_id)), values)
    return number


def _last_correction(writer: Writer, number: int, correction: int) -> CorrectionRecord:
    writer.reading(number)
    said = writer.corrections(number)
    if correction not in [each.id for each in said]:
        raise NotFoundError.of("correction", correction, f"the list of reading {number}'s names")
    last = said[-1]
    if last.id != correction:
        raise later_correction(correction, last.id)
    return last


def _corrections(document: Mapping[str, Any]) -> tuple[Correction, ...]:
    given = document.get("names")
    if not isinstance(given, list) or not given:
        raise CorrectionError(
            f"names: got {given!r}; allowed: a list of objects with id, x_mm and y_mm, one or "
            "more. Name the balls that were read wrong."
        )
    return tuple(Correction.from_dict(item, path=f"names[{i}]") for i, item in enumerate(given))


def judged_again(writer: Writer, number: int) -> list[dict[str, Any]]:
    """Every attempt that starts or ends with that reading judged again: number, whether, why."""
    return [_judge_again(writer, attempt) for attempt in writer.attempts_with(number)]


def _judge_again(writer: Writer, attempt: AttemptRecord) -> dict[str, Any]:
    """Another verdict on the corrected layouts; where none can be given, the old one stays."""
    table = calibration_behind(writer, attempt.after).table
    before, after = attempt.before.layout, attempt.after.layout
    try:
        verdict = verdict_on(attempt, before, after, table)
    except RestmarkError as refusal:
        return {"id": attempt.id, "judged": False, "detail": refusal.detail}
    kind = shot_kind(before, verdict, table)
    writer.judge_again(
        attempt,
        verdict.to_dict(),
        offsets_mm=(verdict.offset_along_mm, verdict.offset_across_mm),
        circumstances=Circumstances(travel_mm=kind.travel_mm, cut_deg=kind.cut_deg),
    )
    return {"id": attempt.id, "judged": True, "detail": None}


def verdict_on(attempt: AttemptRecord, before: Layout, after: Layout, table: Table) -> Verdict:
    """The verdict on an attempt had its layouts been these, by the settings it was judged by.

    Raises:
        RestmarkError: the layouts cannot be compared, or the intent contradicts them.
    """
    return judged(
        before,
        after,
        Intent.from_dict(attempt.intent.document),
        table,
        player=player_of(attempt.judged_by.settings, path=f"attempts[{attempt.id}].player"),
        seen_from_mm=came_from_mm(attempt.after.outcome),
    )
