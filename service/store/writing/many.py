"""Many rows at once, for measurements: no transaction a row, and stills that lie nowhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from .base import Writing


class WritingMany(Writing):
    """Rows as they are given, unlooked at."""

    def insert_many(self, table: str, rows: Sequence[Mapping[str, Any]]) -> list[int]:
        """Insert ``rows``, each with the same columns, into the table of that name: its numbers."""
        into = t.metadata.tables[table]
        query = sa.insert(into).returning(into.c.id, sort_by_parameter_order=True)
        return list(self._connection.execute(query, rows).scalars())

    def look_over(self) -> None:
        """Have the database learn what it holds, as it does by itself after some time."""
        self._connection.execute(sa.text("ANALYZE"))
