"""What is kept of a still: its reading, the attempt that it ended, the intent that waits then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from service.desk.following.chain import reading_of
from service.desk.following.told import met_dict, outcome_dict, repeat_dict
from service.desk.laying.guiding import guide_said
from service.desk.practising.pending import PERSON, give_own, go_on, keep_waiting
from service.desk.practising.renewing import renew
from service.desk.stored import judged_by
from service.practice import Seen, ShotKind, shot_kind
from service.practice.between.outcome import Repeat
from service.practice.between.repeats import repeat_of
from service.store import AttemptRecord, Circumstances, IntentRecord, ReadBy, ReadingRecord, Writer
from vision.layout import Layout

from .met import Met
from .understanding import IMPOSSIBLE, NOTHING, SET_UP, SHOT, Understood, not_made
from .upload import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What was kept of a still."""

    reading: ReadingRecord
    attempt: AttemptRecord | None = None
    intent: IntentRecord | None = None
    """The intent that waits for its shot from then on."""

    def body(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "reading": self.reading.to_dict(),
            "attempt": None if self.attempt is None else self.attempt.to_dict(),
            "outcome": self.reading.to_dict()["outcome"],
            "intent": None if self.intent is None else self.intent.to_dict(),
        }


def keep(
    writer: Writer,
    moment: Moment,
    met: Met,
    understood: Understood,
    *,
    took_ms: float,
    read_by: ReadBy,
) -> Kept:
    """Keep a moment's first still with all that follows; the table's chain goes on to it."""
    upload = moment.main
    chain = met.at.chain
    assert chain is not None
    reading = writer.add_reading(
        writer.add_still(
            upload.data, name=upload.name, table_id=upload.table_id, source=upload.source
        ),
        understood.layout,
        calibration_id=met.calibration.id,
        took_ms=took_ms,
        comparison=understood.said,
        outcome=outcome_of(writer, met, understood, moment.seen),
        set_id=read_by.set_id,
        weights=read_by.weights,
    )
    if not understood.in_chain:
        chain.pass_by(understood.layout)
        return Kept(reading=reading, intent=met.intent)
    return follow(writer, met, reading, understood)


def follow(
    writer: Writer,
    met: Met,
    reading: ReadingRecord,
    understood: Understood,
    *,
    played_at: datetime | None = None,
) -> Kept:
    """What follows from a reading that is kept; ``played_at`` is when it came, None: now."""
    chain = met.at.chain
    assert chain is not None
    before = chain.newest
    attempt = add_attempt(writer, met, reading, understood, played_at=played_at)
    if attempt is not None:
        chain.was_played(attempt.intent.document)
    chain.take(reading.id, understood.layout, understood.outcome)
    said = understood.said
    if understood.event != NOTHING:
        after = _after(writer, met, understood, before, played=attempt is not None)
        said = said or after
    if said != reading.comparison:
        writer.set_comparison(reading.id, said)
        reading = replace(reading, comparison=said)
    return Kept(reading=reading, attempt=attempt, intent=writer.pending_intent(met.at.table_id))


def circumstances_of(
    kind: ShotKind | None, *, in_a_row: int | None = None, played_at: datetime | None = None
) -> Circumstances:
    """What the store keeps beside a verdict."""
    known = {} if kind is None else kind.to_dict()
    return Circumstances(**known, in_a_row=in_a_row, played_at=played_at)


def outcome_of(
    writer: Writer, met: Met, understood: Understood, seen: Seen | None
) -> dict[str, Any] | None:
    """What a reading keeps of its outcome, and of the intent that waited when its still came."""
    found = understood.outcome
    if found is None:
        return None
    still = None
    if found.repeats is not None:
        still = writer.reading(reading_of(found.repeats.layout)).still
    out = outcome_dict(found, seen=seen, repeats=still)
    return out if met.intent is None else out | {"intent_met": met_dict(met.intent)}


def add_attempt(
    writer: Writer,
    met: Met,
    after: ReadingRecord,
    understood: Understood,
    *,
    played_at: datetime | None = None,
) -> AttemptRecord | None:
    """The attempt that a shot ended; None where no intent was due, or nothing could be judged."""
    verdict = understood.verdict
    if verdict is None or met.intent is None or met.before is None:
        return None
    return writer.add_attempt(
        met.intent,
        before=met.before,
        after=after,
        verdict=verdict.to_dict(),
        judged_by=judged_by(met.player),
        offsets_mm=(verdict.offset_along_mm, verdict.offset_across_mm),
        circumstances=circumstances_of(
            shot_kind(met.before.layout, verdict, met.table), played_at=played_at
        ),
        set_up=_set_up(writer, met, met.intent),
    )


def _set_up(writer: Writer, met: Met, intent: IntentRecord) -> Mapping[str, Any] | None:
    """How far off the balls lay that were set up, by the earlier layout and by the guide."""
    chain = met.at.chain
    assert chain is not None
    guide = None
    if met.at.newest is not None:
        guide = guide_said(writer, met.at.table_id, met.at.newest)
    again = again_of(writer, chain.set_up, met.at.newest, intent)
    return (again or {}) | ({} if guide is None else {"guide": guide}) or None


def again_of(
    writer: Writer, set_up: Repeat | None, newest: Layout | None, intent: IntentRecord
) -> dict[str, Any] | None:
    """How far off they lay by an earlier layout that lay there again, or that was waited for."""
    if set_up is not None:
        return repeat_dict(set_up, writer.reading(reading_of(set_up.layout)).still.name)
    if intent.waits_for is None or newest is None:
        return None
    wanted = Layout.from_dict(intent.waits_for, path=f"intents[{intent.id}].waits_for")
    repeat = repeat_of(newest, wanted)
    return None if repeat is None else {"set_up_off_mm": repeat.to_dict()["set_up_off_mm"]}


def _after(
    writer: Writer, met: Met, understood: Understood, before: Layout | None, *, played: bool
) -> Mapping[str, Any] | None:
    """What becomes of the pending intent, and which one is next; why it waits, if it does."""
    at, event, intent = met.at.now(), understood.event, met.intent
    assert at.chain is not None
    said = None
    if intent is not None and not played:
        said = _goes_on(writer, met, understood, before)
    own = at.chain.own_intent if event == SET_UP else None
    given = None
    if own is not None and (intent is None or said is not None or intent.given_by != PERSON):
        given = give_own(writer, at, own)
    renewed = renew(writer, at)
    is_another = intent is not None and renewed is not None and renewed.id != intent.id
    return None if given is not None or is_another else said


def _goes_on(
    writer: Writer, met: Met, understood: Understood, before: Layout | None
) -> Mapping[str, Any] | None:
    assert met.intent is not None
    found = understood.outcome
    if found is not None and found.event in (SHOT, IMPOSSIBLE):
        if before is not None:
            keep_waiting(writer, met.intent, before)
        if found.event == IMPOSSIBLE:
            return not_made(
                IMPOSSIBLE,
                f"{found.detail[:1].upper()}{found.detail[1:]}: that is not scored. The intent "
                "waits until its layout lies there again, or set it anew.",
            )
        return understood.said or not_made(
            "intent-waits",
            "A shot was played from a layout that the intent does not fit: it is not scored. The "
            "intent waits until its layout lies there.",
        )
    why = go_on(writer, met.intent, met.at.now())
    return None if why is None else not_made("intent-waits", f"The intent waits. {why}")
