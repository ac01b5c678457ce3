"""What happened before a reading, as a person says it, in the place of what was understood.

A shot that was none no longer counts, and its intent waits again; a shot that was not seen as one
is judged as if it had been. What was understood stays beside what is said, and comes back with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from service.desk.arriving.keeping import add_attempt, follow, outcome_of
from service.desk.arriving.met import Met
from service.desk.arriving.understanding import SET_UP, SHOT, Understood, judged_as
from service.desk.practising.pending import PERSON, WAY
from service.desk.refusals import no_outcome
from service.position.errors import AttemptError
from service.store import AttemptRecord, ChangeRecord, IntentRecord, ReadingRecord, Writer

from .when_it_came import is_newest, met_then, seen_then, set_up_then

OUTCOME, OUTCOME_BACK = "outcome", "outcome-back"
REPEATS = "repeats_reading_id"
"""Field of an outcome that holds the reading in which a layout lay first."""
UNDERSTOOD = "understood"
"""Field of a said outcome that holds what was understood."""
STRUCK = "struck"
"""Field of a said outcome that holds the attempts which were struck with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeSaid:
    """What came of it."""

    reading: ReadingRecord
    attempt: AttemptRecord | None
    """The attempt that the reading ends now."""
    struck: tuple[int, ...]
    """Attempts that count no longer."""

    def to_dict(self) -> dict[str, Any]:
        """The reading's and the attempts' part of the answer."""
        return {
            "reading": self.reading.to_dict(),
            "attempt": None if self.attempt is None else self.attempt.to_dict(),
            "struck": list(self.struck),
        }


def say_outcome(
    writer: Writer, number: int, event: str | None, *, again_id: int | None = None
) -> OutcomeSaid:
    """Have an event of that name before a reading; None: what was understood.

    ``again_id``: the reading in which the layout lay first that was set up again; None: the
    nearest.

    Raises:
        DeskError: nothing was understood there, or the reading is not live.
        AttemptError: the layouts cannot be that.
    """
    reading = writer.reading(number)
    held = reading.outcome
    if held is None or not reading.live:
        raise no_outcome(number, "one that is not live" if held else "one without an outcome")
    understood = held.get(UNDERSTOOD, held)
    wanted = understood["event"] if event is None else event
    if again_id is not None and wanted != SET_UP:
        raise AttemptError(
            f"repeats_reading_id: got {again_id} with {wanted!r}; allowed: with 'set_up', of which "
            "it says what was set up. Leave it out.",
            code="bad-outcome",
        )
    if event is None:
        again_id = understood.get(REPEATS)
    if wanted == held["event"] and again_id in (None, held.get(REPEATS)):
        return _as_it_is(writer, reading)
    met = met_then(writer, reading)
    if met is None:
        raise no_outcome(number, "one whose still before is gone")
    before = _as_was(writer, reading)
    is_back = wanted == understood["event"] and again_id in (None, understood.get(REPEATS))
    found, outcome = _found(
        writer, met, reading, wanted, understood=understood if is_back else None, again_id=again_id
    )
    struck = _strike(writer, number) if held["event"] == SHOT else ()
    with_it = (*held.get(STRUCK, ()), *struck)
    if not is_back:
        outcome[STRUCK] = list(with_it)
    writer.set_outcome(number, outcome)
    now = replace(reading, outcome=outcome)
    judged = wanted == SHOT and _judged_before(writer, number, only=with_it if is_back else None)
    made = _made(writer, met, now, found, is_judged=judged)
    for played, set_up in list(set_up_then(writer, now)):
        writer.put_set_up(played.id, set_up)
    writer.add_change(
        OUTCOME_BACK if is_back else OUTCOME,
        table_id=reading.table_id,
        before=before,
        after={"intents": made},
    )
    return replace(_as_it_is(writer, now), struck=struck)


def _as_it_is(writer: Writer, reading: ReadingRecord) -> OutcomeSaid:
    return OutcomeSaid(
        reading=writer.reading(reading.id), attempt=writer.attempt_after(reading.id), struck=()
    )


def _found(
    writer: Writer,
    met: Met,
    reading: ReadingRecord,
    event: str,
    *,
    understood: Mapping[str, Any] | None,
    again_id: int | None,
) -> tuple[Understood, dict[str, Any]]:
    """What the event means there, and what the reading keeps of it; ``understood`` as it was."""
    chain = met.at.chain
    assert chain is not None
    assert reading.outcome is not None
    seen = seen_then(reading.outcome)
    # what was understood may have been forgotten since
    again = again_id if understood is None else None
    found = chain.look(reading.layout, seen=seen, said=event, again_id=again)
    assert found is not None
    if understood is not None:
        repeat = chain.repeat(found.change.after, understood.get(REPEATS))
        found = replace(found, repeats=repeat)
        return judged_as(met, found, seen), dict(understood)
    means = judged_as(met, found, seen)
    outcome = outcome_of(writer, met, means, seen) or {}
    held = reading.outcome
    return means, outcome | {
        "said": True,
        UNDERSTOOD: dict(held.get(UNDERSTOOD, held)),
    }


def _made(
    writer: Writer, met: Met, reading: ReadingRecord, means: Understood, *, is_judged: bool
) -> list[int]:
    """Attempt, comparison and what waits as they follow; numbers of the intents that are new.

    ``is_judged``: there is an attempt of that shot, so that none is made.
    """
    pending = writer.pending_intent(reading.table_id)
    by_person = (
        pending is not None and pending.given_by == PERSON and pending.set_at > reading.read_at
    )
    if is_judged:
        met = replace(met, intent=None, before=None)
        means = replace(means, verdict=None, said={"made": True})
    if by_person or not is_newest(writer, reading):
        return _only_the_attempt(writer, met, reading, means)
    if pending is not None and (met.intent is None or pending.id != met.intent.id):
        writer.withdraw_intent(reading.table_id)
    again, new = _waiting_again(writer, met)
    kept = follow(writer, replace(met, intent=again), reading, means, played_at=reading.read_at)
    if again is not None and kept.attempt is None:
        _end_with_its_practice(writer, again)
    return new


def _only_the_attempt(
    writer: Writer, met: Met, reading: ReadingRecord, means: Understood
) -> list[int]:
    """Others followed, or a person said what is next: that stays as it is."""
    writer.set_comparison(reading.id, means.said)
    if means.verdict is None or met.intent is None:
        return []
    spent = _copied(writer, met.intent, state="scored")
    add_attempt(writer, replace(met, intent=spent), reading, means, played_at=reading.read_at)
    return [spent.id]


def _waiting_again(writer: Writer, met: Met) -> tuple[IntentRecord | None, list[int]]:
    """The intent that waited when the still came, pending as it was then."""
    was = met.intent
    if was is None:
        return None, []
    held = writer.intent(was.id)
    if held.state == "pending":
        writer.put_intent(
            was.id,
            state="pending",
            before_reading_id=was.before_reading_id,
            waits_for=was.waits_for,
        )
        return writer.intent(was.id), []
    again = _copied(writer, was, state="pending")
    return again, [again.id]


def _copied(writer: Writer, intent: IntentRecord, *, state: str) -> IntentRecord:
    return writer.set_intent(
        intent.document,
        before_reading_id=intent.before_reading_id,
        state=state,
        practice_id=intent.practice_id,
        waits_for=intent.waits_for,
        given_by=intent.given_by,
        place=intent.place,
        player_id=intent.player_id,
        # what a person set since is told from it by its time
        set_at=intent.set_at,
    )


def _end_with_its_practice(writer: Writer, intent: IntentRecord) -> None:
    """What a way gave goes with its practice, also where that was finished since."""
    practice = writer.open_practice(intent.table_id)
    is_open = practice is not None and practice.id == intent.practice_id
    pending = writer.pending_intent(intent.table_id)
    if intent.given_by == WAY and not is_open and pending is not None and pending.id == intent.id:
        writer.withdraw_intent(intent.table_id)


# -- attempts ------------------------------------------------------------------------------


def _strike(writer: Writer, number: int) -> tuple[int, ...]:
    counting = [each for each in _ended_by(writer, number) if each.struck_at is None]
    for each in counting:
        writer.strike_attempt(each.id)
    return tuple(each.id for each in counting)


def _judged_before(writer: Writer, number: int, *, only: Sequence[int] | None) -> bool:
    """Whether there is an attempt of the shot already; it counts again.

    ``only``: those that were struck with what was said; one that was struck by itself stays so.
    """
    ended = _ended_by(writer, number)
    if ended and (only is None or ended[-1].id in only):
        writer.restore_attempt(ended[-1].id)
    return bool(ended)


def _ended_by(writer: Writer, number: int) -> Sequence[AttemptRecord]:
    return [each for each in writer.attempts_with(number) if each.after.id == number]


# -- undoing -------------------------------------------------------------------------------


def _as_was(writer: Writer, reading: ReadingRecord) -> dict[str, Any]:
    """What undoing needs: the reading, its attempts, and what waits."""
    pending = writer.pending_intent(reading.table_id)
    return {
        "reading_id": reading.id,
        "outcome": None if reading.outcome is None else dict(reading.outcome),
        "comparison": None if reading.comparison is None else dict(reading.comparison),
        "attempts": {
            str(each.id): None if each.struck_at is None else each.struck_at.isoformat()
            for each in _ended_by(writer, reading.id)
        },
        "set_up": {
            str(each.id): None if each.set_up is None else dict(each.set_up)
            for each, _ in set_up_then(writer, reading)
        },
        "pending": None
        if pending is None
        else {
            "id": pending.id,
            "before_reading_id": pending.before_reading_id,
            "waits_for": None if pending.waits_for is None else dict(pending.waits_for),
        },
    }


def unsay(writer: Writer, change: ChangeRecord) -> int:
    """Undo what was said: reading, attempts and what waits as they were; the reading's number.

    A shot that was played since with an intent that the change brought counts no longer.
    """
    before, intents = change.before or {}, (change.after or {}).get("intents", ())
    number = int(before["reading_id"])
    table_id = writer.reading(number).table_id
    writer.set_outcome(number, before["outcome"])
    writer.set_comparison(number, before["comparison"])
    for each in _ended_by(writer, number):
        if str(each.id) in before["attempts"]:
            said = before["attempts"][str(each.id)]
            writer.put_struck(each.id, None if said is None else datetime.fromisoformat(said))
        else:
            writer.strike_attempt(each.id)
    for attempt_id, set_up in before["set_up"].items():
        writer.put_set_up(int(attempt_id), set_up)
    for intent_id in intents:
        played = writer.attempt_of_intent(intent_id)
        if played is not None:
            writer.strike_attempt(played)
    _put_pending(writer, table_id, before["pending"], change)
    return number


def _put_pending(
    writer: Writer, table_id: int, was: Mapping[str, Any] | None, change: ChangeRecord
) -> None:
    """What waited before the change waits again, unless a person set another since."""
    now = writer.pending_intent(table_id)
    if now is not None and now.given_by == PERSON and now.set_at > change.at:
        return
    if now is not None and (was is None or now.id != was["id"]):
        writer.withdraw_intent(table_id)
    if was is None:
        return
    before_id, waits_for = int(was["before_reading_id"]), was["waits_for"]
    played = writer.attempt_of_intent(int(was["id"]))
    if played is None:
        writer.put_intent(
            int(was["id"]), state="pending", before_reading_id=before_id, waits_for=waits_for
        )
    elif writer.attempt(played).struck_at is not None:
        # spent on the shot that was said; an intent is spent once
        held = writer.intent(int(was["id"]))
        _copied(
            writer, replace(held, before_reading_id=before_id, waits_for=waits_for), state="pending"
        )
