"""Names of a reading put right or taken back, and attempts judged again on the new names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.errors import RestmarkError
from service.position import Intent, score_shot
from service.practice.kinds import shot_kind
from service.store import (
    AttemptRecord,
    Circumstances,
    CorrectionRecord,
    NotFoundError,
    Writer,
)
from vision.name.corrected import Correction, CorrectionError, corrected

from .refusals import later_correction
from .stored import calibration_behind, player_of


def correct_reading(writer: Writer, number: int, document: Mapping[str, Any]) -> dict[str, Any]:
    """Put names of the reading of that number right, and judge its attempts again.

    Returns the reading's and the attempts' part of the answer.
    """
    names = _corrections(document)
    was = writer.reading(number)
    layout = corrected(was.layout, names)
    reading = writer.correct_reading(was, layout, [name.to_dict() for name in names])
    return {"reading": reading.to_dict(), "attempts": _judged_again(writer, number)}


def take_back(writer: Writer, number: int, correction: int) -> dict[str, Any]:
    """Have the reading as it was before its last correction, and judge its attempts again.

    Returns the reading's and the attempts' part of the answer.
    """
    reading = writer.take_back(_last_correction(writer, number, correction))
    return {"reading": reading.to_dict(), "attempts": _judged_again(writer, number)}


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


def _judged_again(writer: Writer, number: int) -> list[dict[str, Any]]:
    return [_judge_again(writer, attempt) for attempt in writer.attempts_with(number)]


def _judge_again(writer: Writer, attempt: AttemptRecord) -> dict[str, Any]:
    """Another verdict on the corrected layouts; where none can be given, the old one stays."""
    table = calibration_behind(writer, attempt.after).table
    before, after = attempt.before.layout, attempt.after.layout
    try:
        player = player_of(attempt.judged_by.settings, path=f"attempts[{attempt.id}].player")
        intent = Intent.from_dict(attempt.intent.document)
        verdict = score_shot(before, after, intent, table, player=player)
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
