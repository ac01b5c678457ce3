"""Stored documents as the values that they are."""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from typing import Any

from calibration.kept.calibration import Calibration
from calibration.kept.trust import Trust
from service.position import Player
from service.position.meant.player_file import player_document, player_from
from service.store import (
    FIRST,
    PLAYER_GIVEN,
    PLAYER_STARTING,
    CalibrationRecord,
    JudgedBy,
    Reader,
    ReadingRecord,
    StoreError,
)


@functools.lru_cache(maxsize=8)
def _parsed(document: str) -> Calibration:
    return Calibration.from_dict(json.loads(document), path="calibration")


def calibration_of(record: CalibrationRecord) -> Calibration:
    """The calibration that a stored document holds."""
    return _parsed(json.dumps(record.document, sort_keys=True))


@functools.lru_cache(maxsize=8)
def _judged(document: str) -> Trust:
    return Trust.of(_parsed(document))


def trust_of(record: CalibrationRecord) -> Trust:
    """Whether a stored calibration is good enough; worked out once, for every page asks."""
    return _judged(json.dumps(record.document, sort_keys=True))


def calibration_behind(reader: Reader, reading: ReadingRecord) -> Calibration:
    """The calibration that ``reading``'s own still was read with.

    Raises:
        StoreError: it is gone.
    """
    record = reader.calibration(reading.still_calibration_id)
    if record is None:
        raise StoreError(
            f"reading {reading.id}: its calibration {reading.still_calibration_id} is gone; "
            "allowed: a whole database. Put restmark.db back from your copy."
        )
    return calibration_of(record)


def player_now(reader: Reader, table_id: int = FIRST) -> Player | None:
    """The settings of whoever plays at that table; None where nobody gave any: starting values."""
    record = reader.settings_at(table_id)
    if record is None:
        return None
    return player_of(record.document, path=f"player_settings[{record.id}]")


def player_of(settings: Mapping[str, Any], *, path: str) -> Player:
    """The player that stored settings hold."""
    return player_from(settings, path=path)


def judged_by(player: Player | None) -> JudgedBy:
    """What an attempt keeps of the settings it is judged by; None: nobody gave any."""
    return JudgedBy(
        settings=player_document(Player() if player is None else player),
        source=PLAYER_STARTING if player is None else PLAYER_GIVEN,
    )
