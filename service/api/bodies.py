"""Bodies that take more than a record's own ``to_dict``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.desk.scene import landing_zone_of
from service.desk.stored import calibration_of, judged_by
from service.position import Intent
from service.store import (
    PLAYER_GIVEN,
    AttemptRecord,
    CalibrationRecord,
    IntentRecord,
    PlayerRecord,
    Reader,
    ReadingRecord,
    StillRecord,
)


def page_body(
    name: str,
    records: Sequence[StillRecord] | Sequence[ReadingRecord] | Sequence[AttemptRecord],
    limit: int,
) -> dict[str, Any]:
    """A list, and the number with which the next, older part of it is asked for."""
    is_full = len(records) == limit
    return {
        name: [record.to_dict() for record in records],
        "next_before": records[-1].id if is_full and records[-1].id > 1 else None,
    }


def calibration_body(record: CalibrationRecord) -> dict[str, Any]:
    """The calibration with what most ask of it in front."""
    calibration = calibration_of(record)
    return {
        "id": record.id,
        "set_at": record.set_at,
        "surface_mm": calibration.table.surface_mm,
        "head": calibration.head,
        "scale_source": calibration.scale_source,
        "image_size_px": calibration.camera.image_size_px,
        "calibration": record.document,
    }


def player_body(record: PlayerRecord | None) -> dict[str, Any]:
    """The player's settings that hold; starting values where nobody gave any."""
    used = judged_by(None)
    return {
        "id": None if record is None else record.id,
        "set_at": None if record is None else record.set_at,
        "player_source": used.source if record is None else PLAYER_GIVEN,
        "player": used.settings if record is None else record.document,
    }


def intent_body(reader: Reader, record: IntentRecord) -> dict[str, Any]:
    """The intent and the landing zone that follows from it on its layout."""
    before = reader.reading(record.before_reading_id)
    zone = landing_zone_of(reader, before, Intent.from_dict(record.document))
    return {**record.to_dict(), "zone": zone.to_dict()}
