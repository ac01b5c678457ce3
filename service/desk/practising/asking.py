"""What a person asks to play next: an intent, the same shot again, its mirror image."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.desk.refusals import no_attempt, no_layout
from service.layouts.turned import Turned
from service.position import Intent, IntentError
from service.store import IntentRecord, ReadingRecord, Writer
from vision.layout import Layout

from .fitting import named_and_fitting
from .pending import PERSON, At, set_waiting, wanted_of


def set_intent(
    writer: Writer, at: At, before: ReadingRecord | None, document: Mapping[str, Any]
) -> IntentRecord:
    """A person's intent from the newest layout; it replaces one that was pending.

    Raises:
        DeskError: there is no layout yet.
        RestmarkError: the intent cannot be played from it.
    """
    intent = Intent.from_dict(document)
    if before is None:
        raise no_layout()
    # what the rules name is named once, on the layout that the shot is played from
    named = named_and_fitting(intent, before.layout, at.table, at.player)
    practice = writer.open_practice(at.table_id)
    return writer.set_intent(
        named.to_dict(),
        before_reading_id=before.id,
        practice_id=None if practice is None else practice.id,
        given_by=PERSON,
    )


def set_again(writer: Writer, at: At) -> IntentRecord:
    """The last attempt's shot once more, from its layout, when that lies there.

    Raises:
        DeskError: no attempt was made yet.
    """
    last = _last(writer, at)
    return set_waiting(writer, at, last.intent, last.layout, before_id=last.before_id)


def set_mirrored(writer: Writer, at: At, asked: Mapping[str, Any]) -> IntentRecord:
    """The pending shot, or the last attempt's, on the other side of the table.

    Raises:
        LayoutError: a mirror or a turn that there is not.
        IntentError: neither is asked for.
        DeskError: nothing is pending, and no attempt was made yet.
    """
    copy = Turned.of(mirror=asked.get("mirror"), turn_deg=asked.get("turn") or 0)
    if copy.is_same:
        raise IntentError(
            "mirror: got none, and no turn either; allowed: mirror across or along, a turn of 180 "
            "degrees, or both. Say which copy is meant."
        )
    base = _pending(writer, at) or _last(writer, at)
    return set_waiting(
        writer,
        at,
        copy.intent(base.intent, at.table.surface_mm),
        copy.layout(base.layout),
        before_id=base.before_id,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shot:
    """A shot that was or is to be played."""

    intent: Intent
    layout: Layout
    before_id: int


def _last(writer: Writer, at: At) -> _Shot:
    attempts = writer.attempts(limit=1, table_id=at.table_id, struck=None)
    if not attempts:
        raise no_attempt()
    last = attempts[0]
    return _Shot(
        intent=Intent.from_dict(last.intent.document),
        layout=last.before.layout,
        before_id=last.before.id,
    )


def _pending(writer: Writer, at: At) -> _Shot | None:
    record = writer.pending_intent(at.table_id)
    if record is None:
        return None
    layout = wanted_of(record) or writer.reading(record.before_reading_id).layout
    return _Shot(
        intent=Intent.from_dict(record.document),
        layout=layout,
        before_id=record.before_reading_id,
    )
