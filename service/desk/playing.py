"""The desk's part for what is played next: intents and practices."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.store import FIRST, IntentRecord

from .base import DeskBase
from .practising import asking, practices
from .practising.renewing import renew
from .refusals import no_calibration, no_intent


class Playing(DeskBase):
    """What a person asks to play; all of it in its table's turn."""

    def set_intent(self, document: Mapping[str, Any], table_id: int = FIRST) -> IntentRecord:
        """An intent from the newest comparable layout; it replaces one that was pending.

        Raises:
            NotFoundError: there is no such table.
            DeskError: no calibration is set, or nothing lies there yet.
            IntentError: it cannot be played there.
        """
        with self._changing(table_id) as writer:
            calibration = writer.calibration(table_id=writer.table(table_id).id)
            if calibration is None:
                raise no_calibration(table_id)
            before = writer.latest_comparable(calibration.id)
            at = self._at_calibrated(writer, table_id)
            return asking.set_intent(writer, at, before, document)

    def set_again(self, table_id: int = FIRST) -> IntentRecord:
        """The last attempt's shot once more, when its layout lies there."""
        with self._changing(table_id) as writer:
            return asking.set_again(writer, self._at_calibrated(writer, table_id))

    def set_mirrored(self, asked: Mapping[str, Any], table_id: int = FIRST) -> IntentRecord:
        """The pending shot or the last attempt's on the other side, when that layout lies there."""
        with self._changing(table_id) as writer:
            return asking.set_mirrored(writer, self._at_calibrated(writer, table_id), asked)

    def withdraw_intent(self, table_id: int = FIRST) -> None:
        """The pending intent no longer holds.

        Raises:
            NotFoundError: there is no such table.
            DeskError: none was pending.
        """
        with self._changing(table_id) as writer:
            if not writer.withdraw_intent(writer.table(table_id).id):
                raise no_intent()

    def begin_practice(self, asked: Mapping[str, Any], table_id: int = FIRST) -> dict[str, Any]:
        """A practice begins at a table; one that was open there is finished. Returns its body."""
        with self._changing(table_id) as writer:
            at = self._at(writer, table_id)
            record = practices.begin(writer, table_id, at, asked)
            writer.tell("practice", table_id=table_id, practice_id=record.id)
            return practices.told(writer, record, at)

    def change_practice(self, number: int, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Another title, or finished. Returns its body."""
        table_id = self._table_of_practice(number)
        with self._changing(table_id) as writer:
            record = practices.change(writer, number, asked)
            writer.tell("practice", table_id=table_id, practice_id=number)
            return practices.told(writer, record, self._at(writer, table_id))

    def skip(self, number: int, place: int | None = None) -> dict[str, Any]:
        """The next shot of a practice's plan is passed over; ``place`` names it. Returns its body.

        DeskError where there is none, or another one is next.
        """
        table_id = self._table_of_practice(number)
        with self._changing(table_id) as writer:
            record = practices.skip(writer, number, place)
            at = self._at(writer, table_id)
            if at is not None:
                renew(writer, at)
            writer.tell("practice", table_id=table_id, practice_id=number)
            return practices.told(writer, record, at)

    def practice(self, number: int) -> dict[str, Any]:
        """The body of a practice: its own score, and what is next."""
        with self.store.reading() as reader:
            record = reader.practice(number)
            return practices.told(reader, record, self._at(reader, record.table_id))

    def _table_of_practice(self, number: int) -> int:
        with self.store.reading() as reader:
            return reader.practice(number).table_id
