"""Bodies that take more than a record's own ``to_dict``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from service.desk.scene import why_waiting, zone_of
from service.desk.stored import calibration_of, judged_by
from service.store import (
    PLAYER_GIVEN,
    CalibrationRecord,
    IntentRecord,
    Reader,
    SettingsRecord,
)


class Listed(Protocol):
    """A record that lists hold."""

    @property
    def id(self) -> int:
        """Its number."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""


def next_before(numbers: Sequence[int], limit: int) -> int | None:
    """The number with which the next, older part of a list is asked for; None: that was all."""
    return numbers[-1] if len(numbers) == limit and numbers[-1] > 1 else None


def page_body(name: str, records: Sequence[Listed], limit: int) -> dict[str, Any]:
    """A list, and the number with which the next, older part of it is asked for."""
    return {
        name: [record.to_dict() for record in records],
        "next_before": next_before([record.id for record in records], limit),
    }


def calibration_row(record: CalibrationRecord) -> dict[str, Any]:
    """What most ask of a calibration."""
    calibration = calibration_of(record)
    return {
        "id": record.id,
        "table_id": record.table_id,
        "camera": record.camera,
        "set_at": record.set_at,
        "ended_at": record.ended_at,
        "surface_mm": calibration.table.surface_mm,
        "head": calibration.head,
        "scale_source": calibration.scale_source,
        "image_size_px": calibration.camera.image_size_px,
    }


def calibration_body(record: CalibrationRecord) -> dict[str, Any]:
    """The calibration with that in front."""
    return {**calibration_row(record), "calibration": record.document}


def settings_body(record: SettingsRecord | None, player_id: int) -> dict[str, Any]:
    """A player's settings that hold; starting values where nobody gave any."""
    used = judged_by(None)
    return {
        "id": None if record is None else record.id,
        "set_at": None if record is None else record.set_at,
        "player_source": used.source if record is None else PLAYER_GIVEN,
        "player": used.settings if record is None else record.document,
        "player_id": player_id,
    }


def intent_body(reader: Reader, record: IntentRecord) -> dict[str, Any]:
    """The intent and the landing zone that follows from it on its layout."""
    return {
        **record.to_dict(),
        "state_said": why_waiting(reader, record),
        "zone": zone_of(reader, record).to_dict(),
    }
