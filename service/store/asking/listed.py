"""Attempts one after the other, as far as a list of them tells; never all at once in memory."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from .base import Asking

_AT_ONCE = 500
_MEANT = ("pot", "pocket", "next", "next_pocket")
"""What of the intent stands in a list."""
_NAMED = {"attempt": "id", "table": "table_id", "player": "player_id", "practice": "practice_id"}
_LEFT_OUT = frozenset({"id", "table_id", "player_id", "practice_id", "player", "verdict", "set_up"})


class AskingListed(Asking):
    """Questions whose answer is long."""

    def attempt_rows(
        self,
        *,
        table_id: int | None = None,
        player_id: int | None = None,
        practice_id: int | None = None,
        since: datetime | None = None,
    ) -> Iterator[dict[str, Any]]:
        """Attempts in the order they were played, struck ones too, as plain values by name.

        Beside the columns of the database ``before`` and ``after`` are the stills' names, ``pot``,
        ``pocket``, ``next`` and ``next_pocket`` what was meant, and ``struck`` says whether it was.
        """
        before, after = t.readings.alias(), t.readings.alias()
        still_before, still_after = t.stills.alias(), t.stills.alias()
        plain = [column for column in t.attempts.columns if column.name not in _LEFT_OUT]
        query = (
            sa.select(
                *(t.attempts.c[column].label(name) for name, column in _NAMED.items()),
                *plain,
                t.intents.c.document,
                still_before.c.name.label("before"),
                still_after.c.name.label("after"),
            )
            .join(t.intents, t.intents.c.id == t.attempts.c.intent_id)
            .join(before, before.c.id == t.attempts.c.before_reading_id)
            .join(after, after.c.id == t.attempts.c.after_reading_id)
            .join(still_before, still_before.c.id == before.c.still_id)
            .join(still_after, still_after.c.id == after.c.still_id)
            .order_by(t.attempts.c.made_at, t.attempts.c.id)
        )
        wanted = {"table_id": table_id, "player_id": player_id, "practice_id": practice_id}
        query = query.where(
            *(t.attempts.c[name] == value for name, value in wanted.items() if value is not None)
        )
        if since is not None:
            query = query.where(t.attempts.c.made_at >= since)
        for row in self._connection.execute(query.execution_options(yield_per=_AT_ONCE)):
            values = dict(row._mapping)
            meant = values.pop("document")
            values |= {name: meant.get(name) for name in _MEANT}
            yield values | {"struck": values["struck_at"] is not None}
