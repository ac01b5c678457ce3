"""Bodies that take more than a record's own ``to_dict``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.desk.scene import landing_zone_of
from service.desk.stored import calibration_of
from service.position import Intent
from service.store import (
    AttemptRecord,
    CalibrationRecord,
    IntentRecord,
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


def intent_body(reader: Reader, record: IntentRecord) -> dict[str, Any]:
    """The intent and the landing zone that follows from it on its layout."""
    before = reader.reading(record.before_reading_id)
    zone = landing_zone_of(reader, before, Intent.from_dict(record.document))
    return {**record.to_dict(), "zone": zone.to_dict()}
