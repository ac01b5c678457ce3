"""What every subject's changes share: one transaction, one moment, and a reader in it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from ..asking.known import KnownCalibrations
from ..files import StillFiles
from ..reader import Reader


class Writing(Reader):
    """Reads and writes inside one transaction."""

    def __init__(
        self,
        connection: sa.Connection,
        files: StillFiles,
        now: datetime,
        known: KnownCalibrations | None = None,
    ) -> None:
        super().__init__(connection, known)
        self._files = files
        self._now = now
        self.has_told = False
        """Whether there is an event that listeners are woken for, once all is kept."""

    def _insert(self, table: sa.Table, **values: Any) -> int:
        done = self._connection.execute(sa.insert(table).values(**values))
        key = done.inserted_primary_key
        if key is None:
            raise RuntimeError(f"{table.name}: the database gave no number for a new row")
        return int(key[0])

    def _change(self, table: sa.Table, number: int, **values: Any) -> None:
        """Other values in the row of that number."""
        self._connection.execute(sa.update(table).where(table.c.id == number).values(**values))
