"""The last attempt reopened: its still after came too early, or showed what was no stop.

The attempt is struck, its intent waits for the shot again, and what came after the layout before
it is put aside: the table counts as lying as it lay then.
"""

from __future__ import annotations

from service.desk.refusals import not_the_last
from service.store import AttemptRecord, IntentRecord, Writer

REOPEN = "reopen"


def reopen(writer: Writer, number: int) -> tuple[AttemptRecord, IntentRecord]:
    """The attempt as it is then, and the intent that is pending again.

    Raises:
        DeskError: it is not the last attempt of its table that counts.
    """
    was = writer.attempt(number)
    last = writer.last_attempt_id(was.table_id)
    if last != number or not was.after.live:
        raise not_the_last(number, last)
    pending = writer.pending_intent(was.table_id)
    aside = writer.live_after(was.table_id, was.before.id)
    writer.put_live(aside, live=False)
    intent = writer.set_intent(
        was.intent.document,
        before_reading_id=was.before.id,
        practice_id=was.intent.practice_id,
        waits_for=was.intent.waits_for,
        given_by=was.intent.given_by,
        place=was.intent.place,
    )
    now = writer.strike_attempt(number)
    writer.add_change(
        REOPEN,
        table_id=was.table_id,
        attempt_id=number,
        before={
            "struck_at": None,
            "aside": list(aside),
            "pending_id": None if pending is None else pending.id,
        },
        after={"intent_id": intent.id},
    )
    return now, intent
