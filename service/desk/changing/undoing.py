"""The last change by hand taken back, and the one before it, again and again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.desk.practising.practices import SKIP
from service.desk.refusals import nothing_to_undo
from service.store import ChangeRecord, Circumstances, Writer

from .correcting import NAMES, NAMES_BACK, put_back, say_again
from .outcomes import OUTCOME, OUTCOME_BACK, unsay
from .reopening import REOPEN
from .striking import NOTE, RESTORE, STRIKE


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """What was taken back."""

    change: ChangeRecord
    reading_id: int | None = None
    """The reading whose names, or what happened before it, are as they were."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.change.id,
            "at": self.change.at.isoformat(),
            "kind": self.change.kind,
            "attempt_id": self.change.attempt_id,
            "reading_id": self.reading_id,
        }


def undo(writer: Writer, table_id: int) -> Undone:
    """Take the last change by hand at a table back.

    Raises:
        DeskError: there is none left.
    """
    found = writer.changes(limit=1, table_id=table_id)
    if not found:
        raise nothing_to_undo()
    change = found[0]
    reading_id = _TAKEN_BACK[change.kind](writer, change)
    writer.mark_undone(change.id)
    return Undone(change=change, reading_id=reading_id)


def _unstrike(writer: Writer, change: ChangeRecord) -> None:
    number, before = _parts(change)
    writer.put_struck(number, _moment(before["struck_at"]))


def _unnote(writer: Writer, change: ChangeRecord) -> None:
    number, before = _parts(change)
    writer.put_note(number, Circumstances(**before))


def _unreopen(writer: Writer, change: ChangeRecord) -> None:
    """The attempt counts again; one that the reopened intent was spent on since does not."""
    number, before = _parts(change)
    attempt = writer.attempt(number)
    intent_id = int((change.after or {})["intent_id"])
    if writer.intent(intent_id).state == "pending":
        writer.put_intent_state(intent_id, "withdrawn")
    played = writer.attempt_of_intent(intent_id)
    if played is not None:
        writer.strike_attempt(played)
    writer.put_struck(number, _moment(before["struck_at"]))
    writer.put_live(before["aside"], live=True)
    held = before["pending_id"]
    if held is not None and writer.pending_intent(attempt.table_id) is None:
        writer.put_intent_state(int(held), "pending")


def _unskip(writer: Writer, change: ChangeRecord) -> None:
    before = change.before or {}
    writer.put_skipped(int(before["practice_id"]), before["skipped"])


def _unsay(writer: Writer, change: ChangeRecord) -> int:
    return unsay(writer, change)


def _unname(writer: Writer, change: ChangeRecord) -> int:
    return put_back(writer, change)


def _rename(writer: Writer, change: ChangeRecord) -> int:
    return say_again(writer, change)


_TAKEN_BACK: Mapping[str, Callable[[Writer, ChangeRecord], int | None]] = {
    STRIKE: _unstrike,
    RESTORE: _unstrike,
    NOTE: _unnote,
    SKIP: _unskip,
    OUTCOME: _unsay,
    OUTCOME_BACK: _unsay,
    REOPEN: _unreopen,
    NAMES: _unname,
    NAMES_BACK: _rename,
}


def _parts(change: ChangeRecord) -> tuple[int, Mapping[str, Any]]:
    assert change.attempt_id is not None
    return change.attempt_id, change.before or {}


def _moment(said: str | None) -> datetime | None:
    return None if said is None else datetime.fromisoformat(said)
