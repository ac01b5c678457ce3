"""Stored documents as the values that they are."""

from __future__ import annotations

import functools
import json

from calibration.kept.calibration import Calibration
from service.store import CalibrationRecord, Reader, ReadingRecord, StoreError


@functools.lru_cache(maxsize=8)
def _parsed(document: str) -> Calibration:
    return Calibration.from_dict(json.loads(document), path="calibration")


def calibration_of(record: CalibrationRecord) -> Calibration:
    """The calibration that a stored document holds."""
    return _parsed(json.dumps(record.document, sort_keys=True))


def calibration_behind(reader: Reader, reading: ReadingRecord) -> Calibration:
    """The calibration that ``reading`` was made with; StoreError where it is gone."""
    record = reader.calibration(reading.calibration_id)
    if record is None:
        raise StoreError(
            f"reading {reading.id}: its calibration {reading.calibration_id} is gone; "
            "allowed: a whole database. Put restmark.db back from your copy."
        )
    return calibration_of(record)
