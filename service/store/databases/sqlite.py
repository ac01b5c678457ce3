"""The default: one file in the data directory, written ahead, one writer at a time."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from ..migrate import is_newest
from ..private import make_file
from ..records import RESTORE, WAY_OUT, DamagedError, StoreError, json_text, whole_json
from .base import NAMED, Database, named
from .kept import FOLDER_NAME, daily_copies, keep_copy, write_copy
from .sqlite_cells import wrong_cells

DATABASE_NAME = "restmark.db"
_BUSY_MS = 10_000
"""How long to wait for another process's write before giving up."""


class SqliteDatabase(Database):
    """``restmark.db`` in the data directory."""

    def __init__(self, data_dir: Path) -> None:
        super().__init__(data_dir)
        self.place = str(data_dir)
        self._path = data_dir / DATABASE_NAME
        self.engine = _engine(self._path)

    def is_there(self) -> bool:
        """Whether the file is there, with something in it.

        Raises:
            StoreError: only copies of it are.
        """
        with contextlib.suppress(OSError):
            if self._path.stat().st_size > 0:
                return True
        if self.copies():
            raise StoreError(
                f"{self.place}: {DATABASE_NAME} is gone or empty, and {FOLDER_NAME}/ has copies of "
                "it; allowed: a directory whose database is there. Put it back, or the newest "
                f"copy: `{RESTORE}`. To begin anew, give another directory."
            )
        return False

    @contextmanager
    def looking(self) -> Iterator[sa.Connection]:
        """A connection that sees one moment, whatever is written meanwhile."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self, *, references: bool = True) -> Iterator[sa.Connection]:
        """A connection that takes the write lock at once, so that it cannot fail half way."""
        with self.engine.connect().execution_options(
            immediate=True, foreign_keys=references
        ) as connection:
            yield connection
            if connection.in_transaction():
                connection.commit()

    def prepare(self) -> None:
        """Make the file where there is none; those beside it get its mode."""
        make_file(self._path)

    def check_hold(self) -> None:
        """Nothing: the system holds the lock as long as the process lives."""

    def check_structure(self, connection: sa.Connection) -> None:
        """Refuse a database whose pages do not hang together.

        Raises:
            DamagedError: they do not.
        """
        found = connection.exec_driver_sql(f"PRAGMA quick_check({NAMED})").scalars().all()
        if list(found) != ["ok"]:
            raise DamagedError(
                f"{self.place}: {DATABASE_NAME} is damaged ({'; '.join(map(str, found))}); "
                f"allowed: a whole database. {WAY_OUT}"
            )

    def check_cells(self, connection: sa.Connection) -> None:
        """Refuse a database with a cell that cannot have been written so.

        Raises:
            DamagedError: it has one.
        """
        wrong = wrong_cells(connection)
        if wrong:
            raise DamagedError(
                f"{self.place}: {DATABASE_NAME} is damaged at {named(wrong)}; allowed: a whole "
                f"database. {WAY_OUT}"
            )

    def identity(self) -> tuple[int, ...]:
        """Device and number of the file."""
        found = os.stat(self._path)
        return found.st_dev, found.st_ino

    def written(self) -> tuple[int, ...] | None:
        """Length and time of the file and of its log, which every commit is written to."""
        found: list[int] = []
        for path in (self._path, self._path.with_name(f"{DATABASE_NAME}-wal")):
            try:
                state = os.stat(path)
            except OSError:
                continue
            found += (state.st_ino, state.st_size, state.st_mtime_ns)
        return tuple(found)

    @property
    def identified(self) -> str:
        """The file."""
        return DATABASE_NAME

    def is_large(self, limit_bytes: int) -> bool:
        """Whether the file has more bytes than that."""
        return self._path.stat().st_size > limit_bytes

    def keep_copy(self) -> str:
        """Today's copy in ``copies/``."""
        return keep_copy(self.engine, self.data_dir)

    def copies(self) -> tuple[date, ...]:
        """Days that have a copy in ``copies/``."""
        return tuple(copy.day for copy in daily_copies(self.data_dir))

    def write_copy(self, path: Path) -> bool:
        """One file, while others write.

        Raises:
            StoreError: it cannot be written, or the database is damaged.
        """
        try:
            write_copy(self.engine, path)
        except sqlite3.Error as wrong:
            raise StoreError(
                f"{path}: the copy could not be made ({wrong}); allowed: a folder with room, and a "
                "whole database. Make room, or give another folder."
            ) from None
        return True

    def interrupt(self, connection: sa.Connection) -> None:
        """Have the driver end it."""
        driver = connection.connection.driver_connection
        if driver is not None:
            driver.interrupt()

    def refusal(self, wrong: OSError | UnicodeError | sa.exc.SQLAlchemyError) -> StoreError:
        """What disk or database complained of as one clear refusal."""
        reason = getattr(wrong, "orig", None) or wrong
        # of a damaged schema the driver complains in bytes that are no text
        is_garbled = isinstance(reason, UnicodeError)
        if is_garbled or getattr(reason, "sqlite_errorcode", None) == sqlite3.SQLITE_CORRUPT:
            return DamagedError(
                f"{self.place}: {DATABASE_NAME} is damaged ({reason}); allowed: a whole database. "
                f"{WAY_OUT}"
            )
        if getattr(reason, "sqlite_errorcode", None) in (
            sqlite3.SQLITE_BUSY,
            sqlite3.SQLITE_LOCKED,
        ):
            return StoreError(
                f"{self.place}: cannot be used ({reason}); allowed: a database that no other "
                "program holds. Close what is open on it, and do it again."
            )
        return StoreError(
            f"{self.place}: cannot be used ({reason}); allowed: a directory that can be written, "
            "with room left, whose restmark.db is Restmark's. Check it or give another one."
        )


def look_over_file(path: Path) -> str:
    """Step of a database's file that lies somewhere, looked over without a change to it.

    Raises:
        StoreError: it is damaged, or no database of ours.
    """

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)

    place = SqliteDatabase(path.parent)
    place.place = str(path)
    engine = sa.create_engine("sqlite://", creator=connect, hide_parameters=True)
    try:
        with engine.connect() as connection:
            place.check_structure(connection)
            steps = connection.exec_driver_sql("SELECT version_num FROM alembic_version")
            step = steps.scalar_one()
            if is_newest(connection):
                place.check_cells(connection)
            return str(step)
    except (sa.exc.SQLAlchemyError, OSError) as wrong:
        raise place.refusal(wrong) from None
    finally:
        engine.dispose()


def _engine(path: Path) -> sa.Engine:
    mode = "rwc"

    def connect() -> sqlite3.Connection:
        nonlocal mode
        found = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}", uri=True, check_same_thread=False
        )
        # made once at most: a file that is taken away is not made again, empty, in its place
        mode = "rw"
        return found

    engine = sa.create_engine(
        f"sqlite:///{path}",
        creator=connect,
        json_serializer=json_text,
        json_deserializer=whole_json,
        hide_parameters=True,
    )

    @sa.event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
        # the driver's own implicit transactions are off, so that ours hold for DDL too
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        options = connection.get_execution_options()
        immediate = options.get("immediate", False)
        # inside a transaction it would be passed over
        watched = options.get("foreign_keys", True)
        connection.exec_driver_sql(f"PRAGMA foreign_keys = {'ON' if watched else 'OFF'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine
