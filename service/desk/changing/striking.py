"""Attempts struck, restored and noted; nothing of them is erased."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.practice import Note
from service.store import AttemptRecord, Circumstances, Writer

STRIKE, RESTORE, NOTE = "strike", "restore", "note"
_NOTED = ("spin", "side_spin", "rails", "in_a_row")


def strike(writer: Writer, number: int) -> AttemptRecord:
    """It counts no longer; one that was struck before stays as it is."""
    was = writer.attempt(number)
    if was.struck_at is not None:
        return was
    now = writer.strike_attempt(number)
    _keep(writer, STRIKE, was, _struck(was), _struck(now))
    return now


def restore(writer: Writer, number: int) -> AttemptRecord:
    """It counts again; one that counts stays as it is."""
    was = writer.attempt(number)
    if was.struck_at is None:
        return was
    now = writer.restore_attempt(number)
    _keep(writer, RESTORE, was, _struck(was), _struck(now))
    return now


def note(writer: Writer, number: int, document: Mapping[str, Any]) -> AttemptRecord:
    """What the player notes on an attempt, in place of an earlier note.

    Raises:
        NoteError: a field of the note is unknown or wrong.
    """
    given = Note.from_dict(document)
    was = writer.attempt(number)
    now = writer.set_note(
        number,
        Circumstances(
            spin=given.spin, side_spin=given.side_spin, rails=given.rails, in_a_row=given.in_a_row
        ),
    )
    if _noted(was) != _noted(now):
        _keep(writer, NOTE, was, _noted(was), _noted(now))
    return now


def _keep(
    writer: Writer,
    kind: str,
    attempt: AttemptRecord,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
) -> None:
    writer.add_change(
        kind, table_id=attempt.table_id, attempt_id=attempt.id, before=before, after=after
    )


def _struck(attempt: AttemptRecord) -> dict[str, Any]:
    return {"struck_at": None if attempt.struck_at is None else attempt.struck_at.isoformat()}


def _noted(attempt: AttemptRecord) -> dict[str, Any]:
    held = dict(attempt.kind) | {"in_a_row": attempt.in_a_row}
    return {name: held[name] for name in _NOTED}
