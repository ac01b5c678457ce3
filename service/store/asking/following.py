"""What following a table from still to still asks: intents played, and how attempts ended."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from ..records import AttemptEnd
from .base import Asking, struck_where


class AskingFollowing(Asking):
    """Questions about what was played at a table, without its layouts."""

    def intents_played(self, table_id: int, *, since_reading: int) -> dict[int, Mapping[str, Any]]:
        """The intent last played from each reading of that number or above, struck or not."""
        rows = self._connection.execute(
            sa.select(t.attempts.c.before_reading_id, t.intents.c.document)
            .join_from(t.attempts, t.intents)
            .where(
                t.attempts.c.table_id == table_id,
                t.attempts.c.before_reading_id >= since_reading,
            )
            .order_by(t.attempts.c.id)
        )
        return {row.before_reading_id: row.document for row in rows}

    def ends(self, practice_id: int) -> tuple[AttemptEnd, ...]:
        """How each attempt of a practice that counts ended, in the order they were made."""
        attempts = t.attempts.c
        rows = self._connection.execute(
            sa.select(
                attempts.id,
                attempts.before_reading_id,
                attempts.after_reading_id,
                attempts.called,
                attempts.zone_empty,
                attempts.potted_meant,
                attempts.scratch,
                attempts.set_up,
                t.intents.c.document.label("intent"),
                t.intents.c.given_by,
                t.intents.c.place,
            )
            .join_from(t.attempts, t.intents)
            .where(attempts.practice_id == practice_id, struck_where(t.attempts, False))
            .order_by(attempts.id)
        )
        return tuple(AttemptEnd(**row._asdict()) for row in rows)

    def last_attempt_id(self, table_id: int) -> int | None:
        """The number of the attempt at a table that counts and ended in the newest reading."""
        attempts = t.attempts.c
        return self._connection.execute(
            sa.select(attempts.id)
            .where(attempts.table_id == table_id, struck_where(t.attempts, False))
            .order_by(attempts.after_reading_id.desc(), attempts.id.desc())
            .limit(1)
        ).scalar_one_or_none()

    def live_after(self, table_id: int, reading_id: int) -> tuple[int, ...]:
        """Numbers of the live readings at a table above that number."""
        return tuple(
            self._connection.execute(
                sa.select(t.readings.c.id)
                .where(
                    t.readings.c.table_id == table_id,
                    t.readings.c.live,
                    t.readings.c.id > reading_id,
                )
                .order_by(t.readings.c.id)
            ).scalars()
        )

    def attempt_of_intent(self, intent_id: int) -> int | None:
        """The number of the attempt that an intent was spent on."""
        return self._connection.execute(
            sa.select(t.attempts.c.id).where(t.attempts.c.intent_id == intent_id)
        ).scalar_one_or_none()
