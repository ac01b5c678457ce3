"""Stored documents as the values that they are."""

from __future__ import annotations

import threading
from collections import OrderedDict
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

_PARSED_MOST = 64
_parsed: OrderedDict[int, tuple[Mapping[str, Any], Calibration, Trust]] = OrderedDict()
"""What documents hold, by their identity: the store gives the same one again. They are kept here
beside it, so that no other takes their identity."""
_parsing = threading.Lock()


def _held(document: Mapping[str, Any]) -> tuple[Calibration, Trust]:
    with _parsing:
        known = _parsed.get(id(document))
        if known is None:
            calibration = Calibration.from_dict(document, path="calibration")
            known = _parsed[id(document)] = (document, calibration, Trust.of(calibration))
            if len(_parsed) > _PARSED_MOST:
                _parsed.popitem(last=False)
        else:
            _parsed.move_to_end(id(document))
        return known[1:]


def calibration_of(record: CalibrationRecord) -> Calibration:
    """The calibration that a stored document holds."""
    return _held(record.document)[0]


def trust_of(record: CalibrationRecord) -> Trust:
    """Whether a stored calibration is good enough; worked out once, for every page asks."""
    return _held(record.document)[1]


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
