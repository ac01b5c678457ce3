"""The next intent of a practice, pending by itself when its layout lies there."""

from __future__ import annotations

from typing import Any

from service.position import Intent
from service.practice.ways.tried import Tried
from service.store import AttemptEnd, IntentRecord, PracticeRecord, Reader, Writer

from .pending import LAYOUT, PERSON, WAY, At
from .turns import Due, Lying, Played, due
from .ways import PLAN, PracticeWay


def due_at(reader: Reader, practice: PracticeRecord, at: At) -> Due:
    """What is next in a practice on the table as it lies; nothing before the first layout."""
    if at.newest is None or at.newest_id is None or at.chain is None:
        return Due()
    lying = Lying(
        layout=at.newest,
        newest_id=at.newest_id,
        table=at.table,
        player=at.player,
        laid_id=at.chain.own_id,
    )
    played = [played_of(end) for end in reader.ends(practice.id)]
    way = PracticeWay.from_dict(practice.way)
    return due(
        way,
        played,
        lying,
        lambda number: reader.reading(number).layout,
        skipped=practice.skipped or (),
    )


def played_of(end: AttemptEnd) -> Played:
    """An attempt as far as the next turn depends on it; ``Tried.of`` says what is what."""
    position = None
    if end.called in ("in", "out") and not (end.zone_empty and not end.scratch):
        position = end.called == "in"
    made = end.potted_meant
    tried = Tried(
        intent=Intent.from_dict(end.intent),
        pot=None if made is None else made and not end.scratch,
        position=position,
        place=end.place,
    )
    return Played(
        before_id=end.before_reading_id,
        after_id=end.after_reading_id,
        tried=tried,
        laid_id=(end.set_up or {}).get("repeats_reading_id", end.before_reading_id),
        by_way=end.given_by == WAY,
    )


def renew(writer: Writer, at: At) -> IntentRecord | None:
    """Have the way's next intent pending where no person has set one; the one pending then."""
    pending = writer.pending_intent(at.table_id)
    practice = writer.open_practice(at.table_id)
    if practice is None or at.newest_id is None:
        return pending
    if pending is not None and pending.given_by == PERSON:
        return pending
    way = PracticeWay.from_dict(practice.way)
    if way.plan is None:
        return pending
    found = due_at(writer, practice, at)
    given = _given(found, at.newest_id)
    if given is None:
        # a layout's intent from before the practice is none of the plan's shots
        others = (WAY, LAYOUT) if way.kind == PLAN and not found.finished else (WAY,)
        if pending is not None and pending.given_by in others:
            writer.withdraw_intent(at.table_id)
        return writer.pending_intent(at.table_id)
    if pending is not None and _same(pending, practice, given):
        return pending
    return writer.set_intent(practice_id=practice.id, given_by=WAY, **given)


def _given(found: Due, newest_id: int) -> dict[str, Any] | None:
    """The intent as it is set; None where none can be pending on the table as it lies."""
    waits_for_layout = found.waits is not None and found.wanted_id is not None
    if found.intent is None or (found.waits is not None and not waits_for_layout):
        return None
    return {
        "document": found.intent.to_dict(),
        "before_reading_id": found.wanted_id if waits_for_layout else newest_id,
        "waits_for": None if found.wanted is None else found.wanted.without_cameras().to_dict(),
        "place": None if found.turn is None else found.turn.place,
    }


def _same(pending: IntentRecord, practice: PracticeRecord, given: dict[str, Any]) -> bool:
    held = {
        "document": dict(pending.document),
        "before_reading_id": pending.before_reading_id,
        "waits_for": None if pending.waits_for is None else dict(pending.waits_for),
        "place": pending.place,
    }
    return held == given and pending.practice_id == practice.id
