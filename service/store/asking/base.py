"""What every subject's questions share: the connection, and lists that go on where they ended."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from ..records import NotFoundError
from ..rows import Row
from .known import KnownCalibrations


class Asking:
    """Questions on one connection; ``known`` spares fetching large documents again."""

    def __init__(self, connection: sa.Connection, known: KnownCalibrations | None = None) -> None:
        self._connection = connection
        self._known = KnownCalibrations() if known is None else known

    @property
    def connection(self) -> sa.Connection:
        """For whoever moves whole stores, inside this room."""
        return self._connection

    def _one(self, query: sa.Select[Any], number: int, kind: str, collection: str) -> Row:
        """The one row; NotFoundError, which names kind and collection, where there is none."""
        row = self._connection.execute(query).one_or_none()
        if row is None:
            raise NotFoundError.of(kind, number, collection)
        return row

    def _newest(self, query: sa.Select[Any], table: sa.Table) -> Row | None:
        """The row of ``query`` with the highest number."""
        return self._connection.execute(query.order_by(table.c.id.desc()).limit(1)).one_or_none()

    def _newest_first(
        self,
        query: sa.Select[Any],
        table: sa.Table,
        *,
        limit: int | None,
        before: int | None = None,
        **equal: Any,
    ) -> sa.CursorResult[Any]:
        """At most ``limit`` rows numbered below ``before`` with those values; None: any value."""
        query = query.order_by(table.c.id.desc()).limit(limit)
        if before is not None:
            query = query.where(table.c.id < before)
        wanted = [table.c[name] == value for name, value in equal.items() if value is not None]
        return self._connection.execute(query.where(*wanted))


def struck_where(table: sa.Table, struck: bool | None) -> sa.ColumnElement[bool]:
    """Only what was struck, only what was not, or, with None, both."""
    if struck is None:
        return sa.true()
    return table.c.struck_at.is_not(None) if struck else table.c.struck_at.is_(None)
