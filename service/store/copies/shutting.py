"""Pairings end in a database that is put back: it may know devices that were shut out since."""

from __future__ import annotations

import contextlib
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

_TABLES = ("devices", "pairing_codes")


def end_pairings(database: Path, now: datetime) -> int:
    """Let nobody in whom the database's file lets in, nor any open code; how many devices that are.

    A file of a release without devices stays as it is. Raises sqlite3.Error where it cannot be.
    """
    address = f"{database.absolute().as_uri()}?mode=rw"
    with contextlib.closing(sqlite3.connect(address, uri=True, isolation_level=None)) as file:
        # one file alone, with no log beside it
        file.execute("PRAGMA journal_mode = DELETE")
        query = "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name IN (?, ?)"
        if file.execute(query, _TABLES).fetchone() != (len(_TABLES),):
            return 0
        at = now.astimezone(UTC).replace(tzinfo=None).isoformat(" ", "microseconds")
        file.execute("BEGIN IMMEDIATE")
        ended = file.execute("UPDATE devices SET revoked_at = ? WHERE revoked_at IS NULL", (at,))
        count = ended.rowcount
        file.execute("DELETE FROM pairing_codes WHERE used_at IS NULL")
        file.execute("COMMIT")
        return count
