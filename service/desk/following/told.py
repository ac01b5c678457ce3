"""What is kept and told of an outcome: the JSON beside a reading."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.table import PointMm
from service.practice import Outcome, Seen
from service.practice.between.outcome import Repeat
from service.store import IntentRecord, StillRecord

from .chain import reading_of


def outcome_dict(
    found: Outcome, *, seen: Seen | None = None, repeats: StillRecord | None = None
) -> dict[str, Any]:
    """JSON object of what led to a reading, with what frames showed.

    ``repeats`` is the still that a set-up repeats.
    """
    out = found.to_dict()
    if found.event == "shot":
        out |= found.shot_dict() | {
            "potted": [each.ball for each in found.potted],
            "scratch": found.scratch,
        }
    if found.repeats is not None and repeats is not None:
        # in a chain layouts go by their readings, which nobody at the table knows
        out["detail"] = found.repeats.words(f"in still {repeats.id} ({repeats.name})")
        out |= repeat_dict(found.repeats, repeats.name)
    return out if seen is None else out | {"seen": seen_dict(seen)}


def repeat_dict(repeat: Repeat, still: str) -> dict[str, Any]:
    """A layout set up again: the still that it repeats, and how far each ball is off."""
    return repeat.to_dict() | {"repeats": still, "repeats_reading_id": reading_of(repeat.layout)}


def seen_dict(seen: Seen) -> dict[str, Any]:
    """What frames showed."""
    return {
        "rolled": seen.rolled,
        "hand_over_bed": seen.hand_over_bed,
        "came_from_mm": None if seen.came_from_mm is None else list(seen.came_from_mm),
        "cue_track_mm": [[round(x, 1), round(y, 1)] for x, y in seen.cue_track_mm],
    }


def came_from_mm(outcome: Mapping[str, Any] | None) -> PointMm | None:
    """Where frames saw the cue ball turned last, as a reading's outcome keeps it."""
    came = ((outcome or {}).get("seen") or {}).get("came_from_mm")
    return None if came is None else (float(came[0]), float(came[1]))


def met_dict(intent: IntentRecord) -> dict[str, Any]:
    """The intent that waited when a still came, as it was then: the still may have moved it."""
    return {
        "id": intent.id,
        "before_reading_id": intent.before_reading_id,
        "waits": intent.waits_for is not None,
    }
