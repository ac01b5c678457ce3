"""Where the tables lie: a file in the data directory, or a PostgreSQL database by its URL.

In: the data directory, a URL. Out: a ``Database``, which opens connections for one look and for
one write, keeps others out, and says whether what it holds is whole. Nothing outside the store
asks for one.
"""

from __future__ import annotations

from pathlib import Path

from .base import Database
from .postgres import PostgresDatabase
from .sqlite import DATABASE_NAME, SqliteDatabase

__all__ = ["DATABASE_NAME", "Database", "PostgresDatabase", "SqliteDatabase", "database_of"]


def database_of(data_dir: Path, url: str | None) -> Database:
    """The database that ``url`` names; None: ``restmark.db`` in ``data_dir``."""
    return SqliteDatabase(data_dir) if url is None else PostgresDatabase(data_dir, url)
