"""The desk's part for changes by hand: attempts, names, the ball set, and undoing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from typing import Any

from service.store import FIRST, AttemptRecord, IntentRecord, Store, Writer
from vision.name.taught import Taught

from .base import DeskBase
from .changing.correcting import NAMES, NAMES_BACK, correct_reading, take_back
from .changing.outcomes import say_outcome
from .changing.reopening import reopen
from .changing.striking import note, restore, strike
from .changing.undoing import Undone, undo
from .live import Live
from .names.ball_set import BallSet
from .names.known_set import KnownSet
from .practising.renewing import renew


class ByHand(DeskBase):
    """What a person changes; all of it in its table's turn."""

    def __init__(self, store: Store, live: Live) -> None:
        super().__init__(store, live)
        self._sets: dict[int, BallSet] = {}

    # -- attempts --------------------------------------------------------------------------

    def strike(self, number: int) -> AttemptRecord:
        """An attempt counts no longer."""
        return self._attempt_changed("attempt", number, partial(strike, number=number))

    def restore(self, number: int) -> AttemptRecord:
        """An attempt counts again."""
        return self._attempt_changed("attempt", number, partial(restore, number=number))

    def set_note(self, number: int, document: Mapping[str, Any]) -> AttemptRecord:
        """What the player notes on an attempt, in place of an earlier note."""
        work = partial(note, number=number, document=document)
        return self._attempt_changed("note", number, work)

    def reopen(self, number: int) -> tuple[AttemptRecord, IntentRecord]:
        """The last attempt is struck and waits for its shot again."""
        with self.store.reading() as reader:
            table_id = reader.attempt(number).table_id
        with self._changed(table_id) as writer:
            attempt, intent = reopen(writer, number)
            writer.tell("attempt", table_id=table_id, attempt_id=number, reading_id=None)
        return attempt, intent

    def undo(self, table_id: int = FIRST) -> Undone:
        """The last change by hand at a table is taken back."""
        with self.store.reading() as reader:
            reader.table(table_id)
        with self._changed(table_id) as writer:
            undone = undo(writer, table_id)
            if undone.change.kind in (NAMES, NAMES_BACK):
                self.ball_set_at(table_id).changed()
            writer.tell(
                "undo",
                table_id=table_id,
                attempt_id=undone.change.attempt_id,
                reading_id=undone.reading_id,
            )
        return undone

    def _attempt_changed(
        self, kind: str, number: int, work: Callable[[Writer], AttemptRecord]
    ) -> AttemptRecord:
        with self.store.reading() as reader:
            table_id = reader.attempt(number).table_id
        with self._changing(table_id) as writer:
            attempt = work(writer)
            at = self._at(writer, table_id)
            if at is not None:
                renew(writer, at)
            writer.tell(kind, table_id=table_id, attempt_id=number)
        return attempt

    @contextmanager
    def _changed(self, table_id: int) -> Iterator[Writer]:
        """A writer for what the table's chain is made of; what is next follows."""
        try:
            with self._changing(table_id) as writer:
                yield writer
                self._chains.forget(table_id)
                at = self._at(writer, table_id)
                if at is not None:
                    renew(writer, at)
        except BaseException:
            # the chain may be one of rows that were not kept
            self._chains.forget(table_id)
            raise

    # -- outcomes --------------------------------------------------------------------------

    def say_outcome(
        self, number: int, event: str | None, again_id: int | None = None
    ) -> dict[str, Any]:
        """What happened before a reading, as a person says it; None: as it was understood.

        ``again_id``: the reading of the layout that was set up again; None: the nearest. Returns
        the body of the answer.
        """
        table_id = self._table_of(number)
        with self._changed(table_id) as writer:
            said = say_outcome(writer, number, event, again_id=again_id)
            changed = said.attempt.id if said.attempt else next(iter(said.struck), None)
            writer.tell("reading", table_id=table_id, reading_id=number, attempt_id=changed)
        pending = self._pending(table_id)
        return said.to_dict() | {"intent": None if pending is None else pending.to_dict()}

    def _pending(self, table_id: int) -> IntentRecord | None:
        with self.store.reading() as reader:
            return reader.pending_intent(table_id)

    # -- names -----------------------------------------------------------------------------

    def set_ball_set(self, document: Mapping[str, Any], table_id: int = FIRST) -> None:
        """A taught set that holds from now on; the same one as before changes nothing."""
        given = Taught.from_dict(document, path="set").to_dict()
        with self.store.writing() as writer:
            held = writer.ball_set(table_id)
            if held is None or held.document != given:
                writer.add_set(given, table_id=table_id)
        self.ball_set_at(table_id).changed()

    def correct_names(self, number: int, document: Mapping[str, Any]) -> dict[str, Any]:
        """Put names of a reading right, judge its attempts again, and learn from its still.

        Returns the body of the answer.
        """
        table_id = self._table_of(number)
        with self._renamed(number, table_id) as writer:
            body = correct_reading(writer, number, document)
        known = self.ball_set_at(table_id).known()
        why_not = known.why_not(number)
        return {
            **body,
            "taught": list(known.taught.ids) if known.taught else [],
            "learned": {"made": why_not is None, "detail": why_not},
        }

    def take_names_back(self, number: int, correction: int) -> dict[str, Any]:
        """Have the reading as it was before its last correction; the set forgets it too.

        Returns the body of the answer.
        """
        table_id = self._table_of(number)
        with self._renamed(number, table_id) as writer:
            body = take_back(writer, number, correction)
        known = self.ball_set_at(table_id).known()
        return {**body, "taught": list(known.taught.ids) if known.taught else []}

    def _table_of(self, reading: int) -> int:
        with self.store.reading() as reader:
            return reader.reading(reading).table_id

    @contextmanager
    def _renamed(self, number: int, table_id: int) -> Iterator[Writer]:
        """A writer for names of that reading; whoever is told of them asks for the set anew."""
        with self._changed(table_id) as writer:
            yield writer
            # before it is told, as whoever hears of it asks at once; what is asked waits its turn
            self.ball_set_at(table_id).changed()
            writer.tell("reading", table_id=table_id, reading_id=number, attempt_id=None)

    def ball_set_at(self, table_id: int = FIRST) -> BallSet:
        """What is known of that table's ball set."""
        return self._sets.setdefault(table_id, BallSet(self.store, table_id=table_id))

    def _known(self, table_id: int) -> KnownSet:
        return self.ball_set_at(table_id).known()
