"""Intents and attempts."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from ..records import FIRST, AttemptRecord, IntentRecord
from ..rows import Row, attempt_of, intent_of, reading_of
from .base import struck_where
from .seen import READINGS, AskingSeen


class AskingPlayed(AskingSeen):
    """Questions about intents and attempts."""

    def pending_intent(self, table_id: int = FIRST) -> IntentRecord | None:
        """The intent that waits for its shot at that table."""
        row = self._connection.execute(
            sa.select(t.intents).where(
                t.intents.c.state == "pending", t.intents.c.table_id == table_id
            )
        ).one_or_none()
        return intent_of(row) if row else None

    def intent(self, number: int) -> IntentRecord:
        """The intent of that number; NotFoundError where there is none."""
        query = sa.select(t.intents).where(t.intents.c.id == number)
        return intent_of(self._one(query, number, "intent", "the list of attempts"))

    def attempt(self, number: int) -> AttemptRecord:
        """The attempt of that number, struck or not; NotFoundError where there is none."""
        query = sa.select(t.attempts).where(t.attempts.c.id == number)
        row = self._one(query, number, "attempt", "the list of attempts")
        return self._attempts([row])[0]

    def attempt_after(self, reading_id: int) -> AttemptRecord | None:
        """The attempt that the reading of that number ended; one that was struck is none."""
        query = sa.select(t.attempts).where(
            t.attempts.c.after_reading_id == reading_id, t.attempts.c.struck_at.is_(None)
        )
        row = self._newest(query, t.attempts)
        return self._attempts([row])[0] if row else None

    def attempts(
        self,
        *,
        limit: int | None = None,
        before: int | None = None,
        table_id: int | None = None,
        player_id: int | None = None,
        practice_id: int | None = None,
        struck: bool | None = False,
    ) -> tuple[AttemptRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``.

        ``struck``: False, those that count; True, those that were struck; None, both.
        """
        rows = self._newest_first(
            sa.select(t.attempts).where(struck_where(t.attempts, struck)),
            t.attempts,
            limit=limit,
            before=before,
            table_id=table_id,
            player_id=player_id,
            practice_id=practice_id,
        )
        return self._attempts(rows.all())

    def attempts_with(self, reading_id: int) -> tuple[AttemptRecord, ...]:
        """Attempts that start or end with the reading of that number, in the order played.

        Struck ones too: they are judged again like the others, as they may count again.
        """
        query = sa.select(t.attempts).where(
            (t.attempts.c.before_reading_id == reading_id)
            | (t.attempts.c.after_reading_id == reading_id)
        )
        return self._attempts(self._connection.execute(query.order_by(t.attempts.c.id)).all())

    def _attempts(self, rows: Collection[Row]) -> tuple[AttemptRecord, ...]:
        """Those rows' attempts, with what they point to fetched at once."""
        intents = self._by_id(sa.select(t.intents), t.intents, {row.intent_id for row in rows})
        ends = {row.before_reading_id for row in rows} | {row.after_reading_id for row in rows}
        readings = {
            number: reading_of(row)
            for number, row in self._by_id(READINGS, t.readings, ends).items()
        }
        return tuple(
            attempt_of(
                row,
                intent=intent_of(intents[row.intent_id]),
                before=readings[row.before_reading_id],
                after=readings[row.after_reading_id],
            )
            for row in rows
        )

    def _by_id(
        self, query: sa.Select[Any], table: sa.Table, numbers: Collection[int]
    ) -> dict[int, Row]:
        found = self._connection.execute(query.where(table.c.id.in_(numbers)))
        return {row.id: row for row in found}
