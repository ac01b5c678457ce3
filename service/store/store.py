"""The data directory: opened, brought up to date, read by many and written by one."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from .check import StillsCheck, check_cells, check_stills, check_structure
from .files import StillFiles
from .hold import Hold
from .kept import keep_copy
from .migrate import migrate
from .reader import Reader
from .records import WAY_OUT, DamagedError, StoreError, whole_json
from .writer import Writer

DATABASE_NAME = "restmark.db"
_BUSY_MS = 10_000
"""How long to wait for another process's write before giving up."""


class Store:
    """One data directory. Safe to share between threads.

    What is acknowledged is on disk under its name: where the directory was taken away or
    exchanged while it was open, every answer is a refusal.
    """

    def __init__(self, data_dir: Path, *, hold: bool = False) -> None:
        """Open ``data_dir``, made if missing; StoreError where it cannot be used or is damaged.

        ``hold``: as the one service on it; HeldError where another is.
        """
        self.data_dir = data_dir
        self.files = StillFiles(folder=data_dir / "stills")
        self._lock = threading.Lock()
        self._engine = _engine(data_dir / DATABASE_NAME)
        self._hold: Hold | None = None
        self._opened: tuple[int, int] | None = None
        try:
            with _refusals(data_dir):
                data_dir.mkdir(parents=True, exist_ok=True)
                if hold:
                    self._hold = Hold.take(data_dir)
                self.files.prepare()
                with self._immediate() as connection:
                    check_structure(connection, place=str(data_dir))
                    migrate(connection, place=str(data_dir))
                    check_cells(connection, place=str(data_dir))
                self._opened = self._identity()
                if hold:
                    keep_copy(self._engine, data_dir)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Give the database's files back, and the directory to others."""
        self._engine.dispose()
        if self._hold is not None:
            self._hold.release()

    def check_stills(self) -> StillsCheck:
        """Whether the stills' files are whole, as far as can be looked at in bounded time."""
        with _refusals(self.data_dir), self._engine.connect() as connection:
            return check_stills(connection, self.files)

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """A reader; all its answers come from the same moment."""
        with _refusals(self.data_dir), self._engine.connect() as connection:
            self._check_place()
            yield Reader(connection)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """A writer; its changes come to be together at the block's end, or none does."""
        with self._lock, _refusals(self.data_dir), self._immediate() as connection:
            writer = Writer(connection, self.files)
            try:
                self._check_place()
                yield writer
                writer.check_files()
                connection.commit()
                self._check_place()
            except BaseException:
                connection.rollback()
                writer.take_back_files()
                raise

    def _check_place(self) -> None:
        """Refuse where ``restmark.db`` is no longer the file that was opened."""
        try:
            now = self._identity()
        except OSError:
            now = None
        if now != self._opened:
            state = "is gone" if now is None else "is another file than the one opened"
            raise StoreError(
                f"{self.data_dir}: {DATABASE_NAME} {state}: the directory was taken away or "
                "exchanged while it was in use, and nothing can be kept in it; allowed: the "
                "directory as it was opened. Stop, put it back from your copy, and start again."
            )

    def _identity(self) -> tuple[int, int]:
        found = os.stat(self.data_dir / DATABASE_NAME)
        return found.st_dev, found.st_ino

    @contextmanager
    def _immediate(self) -> Iterator[sa.Connection]:
        """A transaction that takes the write lock at once, so that it cannot fail half way."""
        with self._engine.connect().execution_options(immediate=True) as connection:
            yield connection
            if connection.in_transaction():
                connection.commit()


def _engine(path: Path) -> sa.Engine:
    engine = sa.create_engine(f"sqlite:///{path}", json_deserializer=whole_json)

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
        if getattr(reason, "sqlite_errorcode", None) == sqlite3.SQLITE_CORRUPT:
            raise DamagedError(
                f"{data_dir}: {DATABASE_NAME} is damaged ({reason}); allowed: a whole database. "
                f"{WAY_OUT}"
            ) from wrong
        raise StoreError(
            f"{data_dir}: cannot be used ({reason}); allowed: a directory that can be written, "
            "with room left, whose restmark.db is Restmark's. Check it or give another one."
        ) from wrong
