"""What a reading met when its still came, looked up again afterwards."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from service.desk.arriving.chains import LOOKED_BACK, chain_of, links_of
from service.desk.arriving.keeping import again_of
from service.desk.arriving.met import Met
from service.desk.arriving.understanding import IMPOSSIBLE, NOTHING, SET_UP, SHOT
from service.desk.following.chain import Chain
from service.desk.practising.pending import At, is_playable
from service.desk.stored import calibration_of, player_now, player_of
from service.position import Player
from service.practice import Seen
from service.store import AttemptRecord, IntentRecord, ReadingRecord, Writer

_ANEW = (SHOT, IMPOSSIBLE, SET_UP)
"""Events from which on a layout that was set up before counts no longer."""


def met_then(writer: Writer, reading: ReadingRecord) -> Met | None:
    """The table as it lay, and the intent that waited; None where the still before is gone."""
    calibration = writer.calibration(reading.calibration_id)
    if calibration is None:
        return None
    chain = chain_of(writer, calibration, before=reading.id)
    if chain.newest is None:
        return None
    intent = _intent_met(writer, reading, chain)
    at = At.of(reading.table_id, chain, _player(writer, reading.table_id, intent))
    playable = intent is not None and is_playable(intent, at)
    return Met(
        calibration=calibration,
        at=at,
        previous=None,
        intent=intent,
        before=writer.reading(intent.before_reading_id) if intent and playable else None,
    )


def is_newest(writer: Writer, reading: ReadingRecord) -> bool:
    """Whether nothing has happened at the table since that reading."""
    held = writer.calibration(table_id=reading.table_id)
    if held is None or held.id != reading.calibration_id:
        return False
    for later in writer.readings(limit=LOOKED_BACK, table_id=reading.table_id, live=True):
        if later.id <= reading.id:
            return True
        is_clear = later.layout.settled and not later.layout.obstructed
        if is_clear and (later.outcome or {}).get("event") != NOTHING:
            return False
    return False


def seen_then(outcome: Mapping[str, Any]) -> Seen | None:
    """What frames before the still showed, as its outcome keeps it."""
    held = outcome.get("seen")
    if held is None:
        return None
    came = held.get("came_from_mm")
    return Seen(
        rolled=held.get("rolled"),
        hand_over_bed=held.get("hand_over_bed"),
        came_from_mm=None if came is None else (float(came[0]), float(came[1])),
        cue_track_mm=tuple((float(x), float(y)) for x, y in held.get("cue_track_mm", ())),
    )


def set_up_then(
    writer: Writer, reading: ReadingRecord
) -> Iterator[tuple[AttemptRecord, dict[str, Any] | None]]:
    """The attempts played from what that reading showed, and how far off it had been set up."""
    calibration = writer.calibration(reading.calibration_id)
    if calibration is None or is_newest(writer, reading):
        return
    chain = Chain(table=calibration_of(calibration).table)
    for link in links_of(writer, calibration):
        if link.reading_id > reading.id and link.event in _ANEW:
            return
        chain.recall(link)
        if link.reading_id < reading.id or link.played is None:
            continue
        for attempt in writer.attempts_with(link.reading_id):
            if attempt.before.id == link.reading_id:
                again = again_of(writer, chain.set_up, chain.newest, attempt.intent) or {}
                guide = (attempt.set_up or {}).get("guide")
                yield attempt, again | ({} if guide is None else {"guide": guide}) or None


def _intent_met(writer: Writer, reading: ReadingRecord, chain: Chain) -> IntentRecord | None:
    """The intent that waited then, as it was then."""
    told = (reading.outcome or {}).get("intent_met")
    if told is not None:
        record = writer.intent(int(told["id"]))
        waits_for = record.waits_for if told["waits"] else None
        before_id = int(told["before_reading_id"])
        return replace(record, before_reading_id=before_id, waits_for=waits_for)
    # readings of an older release do not say it: what was played, or what still waits, tells
    for attempt in writer.attempts_with(reading.id):
        if attempt.after.id == reading.id:
            return replace(attempt.intent, before_reading_id=attempt.before.id)
    pending = writer.pending_intent(reading.table_id)
    if pending is None or pending.set_at >= reading.read_at or chain.newest_id is None:
        return None
    before_id = min(pending.before_reading_id, chain.newest_id)
    return replace(pending, before_reading_id=before_id)


def _player(writer: Writer, table_id: int, intent: IntentRecord | None) -> Player | None:
    """Whose shot it was."""
    if intent is None:
        return player_now(writer, table_id)
    record = writer.settings(intent.player_id)
    if record is None:
        return None
    return player_of(record.document, path=f"player_settings[{record.id}]")
