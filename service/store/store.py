"""The data directory: opened, brought up to date, read by many and written by one."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from .files import StillFiles
from .migrate import migrate
from .reader import Reader
from .records import StoreError
from .writer import Writer

DATABASE_NAME = "restmark.db"
_BUSY_MS = 10_000
"""How long to wait for another process's write before giving up."""


class Store:
    """One data directory. Safe to share between threads."""

    def __init__(self, data_dir: Path) -> None:
        """Open ``data_dir``, made if missing; StoreError where it cannot be used."""
        self.data_dir = data_dir
        self.files = StillFiles(folder=data_dir / "stills")
        self._lock = threading.Lock()
        self._engine = _engine(data_dir / DATABASE_NAME)
        with _refusals(data_dir):
            data_dir.mkdir(parents=True, exist_ok=True)
            self.files.prepare()
            with self._immediate() as connection:
                migrate(connection, place=str(data_dir))

    def close(self) -> None:
        """Give the database's files back."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """A reader; all its answers come from the same moment."""
        with _refusals(self.data_dir), self._engine.connect() as connection:
            yield Reader(connection)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """A writer; its changes come to be together at the block's end, or none does."""
        with self._lock, _refusals(self.data_dir), self._immediate() as connection:
            writer = Writer(connection, self.files)
            try:
                yield writer
                connection.commit()
            except BaseException:
                connection.rollback()
                writer.take_back_files()
                raise

    @contextmanager
    def _immediate(self) -> Iterator[sa.Connection]:
        """A transaction that takes the write lock at once, so that it cannot fail half way."""
        with self._engine.connect().execution_options(immediate=True) as connection:
            yield connection
            if connection.in_transaction():
                connection.commit()


def _engine(path: Path) -> sa.Engine:
    engine = sa.create_engine(f"sqlite:///{path}")

    @sa.event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
        # the driver's own implicit transactions are off, so that ours hold for DDL too
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        immediate = connection.get_execution_options().get("immediate", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine


@contextmanager
def _refusals(data_dir: Path) -> Iterator[None]:
    """Turn what disk and database complain of into one clear refusal."""
    try:
        yield
    except (OSError, sa.exc.DBAPIError) as wrong:
        reason = getattr(wrong, "orig", None) or wrong
        raise StoreError(
            f"{data_dir}: cannot be used ({reason}); allowed: a directory that can be written, "
            "with room left, whose restmark.db is Restmark's. Check it or give another one."
        ) from wrong
