"""A PostgreSQL database by its URL: the tables there, the stills' files in the data directory.

What PostgreSQL watches by itself is not looked at again: kinds of cells, references, and pages,
where its checksums are on. Looked at is what its columns cannot say, that a document is one. There
is no kept copy: that is `pg_dump`'s work.
"""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import date
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from .. import tables as t
from ..records import DamagedError, StoreError, json_text, whole_json
from .base import NAMED, Database, named
from .hold import HeldError

DRIVER = "postgresql+psycopg"
_WAIT_MS = 10_000
"""How long to wait for another process's write before giving up."""
_HELD, _WRITTEN = 0x526D6801, 0x526D6802
"""Advisory locks: of the one service on a store, and of the one write at a time."""
_CONNECT_S = 10
_GONE_S, _AGAIN_S = 3.0, 0.1
"""A service that was killed and started again at once: its old connection goes a little later."""
_WAY_OUT = (
    "Stop Restmark and bring the database back from your own dump of it. Stills posted since can "
    "be posted again: their pictures are in stills/."
)
_DAMAGE = {"XX001", "XX002"}
"""PostgreSQL's codes for a damaged page and a damaged index."""


class PostgresDatabase(Database):
    """A database, or a schema of one, that this store alone uses."""

    def __init__(self, data_dir: Path, url: str) -> None:
        super().__init__(data_dir)
        self._url = _checked(url)
        self.place = self._url.render_as_string(hide_password=True)
        self.engine = _engine(self._url, self.place)
        self._holding: sa.Connection | None = None
        self._holding_lock = threading.Lock()

    def is_there(self) -> bool:
        """Whether the steps' table is there."""
        with self.engine.connect() as connection:
            return sa.inspect(connection).has_table("alembic_version")

    @contextmanager
    def looking(self) -> Iterator[sa.Connection]:
        """A connection that sees one moment, whatever is written meanwhile."""
        with self.engine.connect().execution_options(
            isolation_level="REPEATABLE READ", postgresql_readonly=True
        ) as connection:
            yield connection

    @contextmanager
    def writing(self, *, references: bool = True) -> Iterator[sa.Connection]:
        """A connection that has the lock of the one writer; a step needs no other way here."""
        with self.engine.connect() as connection:
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {_WAIT_MS}")
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_WRITTEN, _schema())))
            yield connection
            if connection.in_transaction():
                connection.commit()

    def hold(self) -> None:
        """Hold directory and database, each of which another service could have."""
        super().hold()
        self._take()

    def check_hold(self) -> None:
        """Take it again where the connection that held it broke; HeldError where another has it."""
        if self._holding is None:
            return
        with self._holding_lock:
            try:
                self._holding.exec_driver_sql("SELECT 1")
                self._holding.commit()
            except sa.exc.DBAPIError:
                self._drop()
                self._take()

    def release(self) -> None:
        """Give connections back, and the store to others."""
        self._drop()
        super().release()

    def check_structure(self, connection: sa.Connection) -> None:
        """Nothing: PostgreSQL looks at a page whenever it reads it."""

    def check_cells(self, connection: sa.Connection) -> None:
        """Refuse a database with a document that is none.

        Raises:
            DamagedError: it has one.
        """
        wrong = [cell for table in t.metadata.sorted_tables for cell in _wrong(connection, table)]
        if wrong:
            raise DamagedError(
                f"{self.place}: is damaged at {named(wrong)}; allowed: a whole database. {_WAY_OUT}"
            )

    def identity(self) -> tuple[int, ...]:
        """Device and number of the folder of stills."""
        found = os.stat(self.data_dir / "stills")
        return found.st_dev, found.st_ino

    @property
    def identified(self) -> str:
        """The folder of stills."""
        return "stills/"

    def is_large(self, limit_bytes: int) -> bool:
        """False: it looks at documents alone."""
        return False

    def keep_copy(self) -> str:
        """None: that is `pg_dump`'s work."""
        return ""

    def copies(self) -> tuple[date, ...]:
        """None."""
        return ()

    def write_copy(self, path: Path) -> bool:
        """False: an archive, or `pg_dump`, does it."""
        return False

    def interrupt(self, connection: sa.Connection) -> None:
        """Ask the server to end what the connection is asked."""
        driver = connection.connection.driver_connection
        if driver is not None:
            driver.cancel()

    def refusal(self, wrong: OSError | UnicodeError | sa.exc.SQLAlchemyError) -> StoreError:
        """What disk or database complained of as one clear refusal."""
        reason = getattr(wrong, "orig", None) or wrong
        said = " ".join(str(reason).split())
        if getattr(reason, "sqlstate", None) in _DAMAGE:
            return DamagedError(
                f"{self.place}: is damaged ({said}); allowed: a whole database. {_WAY_OUT}"
            )
        if isinstance(wrong, OSError):
            return StoreError(
                f"{self.data_dir}: cannot be used ({said}); allowed: a directory that can be "
                "written, with room left. Check it or give another one."
            )
        return StoreError(
            f"{self.place}: cannot be used ({said}); allowed: a PostgreSQL database that runs, is "
            "Restmark's alone and may be written. Check it or give another --store."
        )

    def _take(self) -> None:
        """Hold the lock on a connection of its own; it goes when the process ends, however."""
        connection = self.engine.connect()
        give_up = time.monotonic() + _GONE_S
        while not (is_ours := _try(connection)) and time.monotonic() < give_up:
            time.sleep(_AGAIN_S)
        if not is_ours:
            told = _holder(connection)
            connection.close()
            raise HeldError(
                f"{self.place}: is held by another service, {told}; allowed: one service a store. "
                "Use that one, stop it (Ctrl+C in its window), or give another --store."
            )
        connection.commit()
        self._holding = connection

    def _drop(self) -> None:
        if self._holding is not None:
            # not back to the pool: the lock is the session's
            self._holding.invalidate()
            with suppress(sa.exc.SQLAlchemyError):
                self._holding.close()
            self._holding = None


def _checked(url: str) -> sa.URL:
    try:
        found = sa.make_url(url)
    except sa.exc.ArgumentError:
        found = None
    if found is None or found.drivername not in (DRIVER, "postgresql", "postgres"):
        given = "something else" if found is None else f"{found.drivername}://…"
        raise StoreError(
            f"--store: got {given}; allowed: {DRIVER}://USER@HOST/DATABASE. Correct it, or leave "
            "it away to keep everything in the data directory."
        )
    return found.set(drivername=DRIVER)


def _engine(url: sa.URL, place: str) -> sa.Engine:
    try:
        return sa.create_engine(
            url,
            json_serializer=json_text,
            json_deserializer=partial(whole_json, way_out=_WAY_OUT),
            hide_parameters=True,
            pool_pre_ping=True,
            connect_args={
                "connect_timeout": _CONNECT_S,
                "application_name": f"restmark {os.getpid()} on {socket.gethostname()}"[:63],
            },
        )
    except ImportError:
        raise StoreError(
            f"{place}: needs the PostgreSQL driver, which is not installed; allowed: an install "
            "with it. Run `pip install 'restmark[postgres]'`."
        ) from None


def _try(connection: sa.Connection) -> bool:
    """Whether the lock of the one service is this connection's now."""
    return bool(
        connection.execute(sa.select(sa.func.pg_try_advisory_lock(_HELD, _schema()))).scalar()
    )


def _schema() -> sa.ColumnElement[int]:
    """A number of the schema: stores in two schemas of one database do not keep each other out."""
    return sa.func.hashtext(sa.func.current_schema())


def _holder(connection: sa.Connection) -> str:
    """Who holds the lock, as his connection tells."""
    row = connection.execute(
        sa.text(
            "SELECT application_name, backend_start FROM pg_stat_activity "
            "JOIN pg_locks USING (pid) WHERE locktype = 'advisory' AND classid = :held AND granted "
            "AND objid = hashtext(current_schema())::bigint & 4294967295 "
            "AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
        ),
        {"held": _HELD},
    ).first()
    if row is None or not row[0]:
        return "which does not say its name"
    since = row[1].astimezone()
    return f"{row[0].replace('restmark', 'process', 1)} since {since:%Y-%m-%d %H:%M:%S}"


def _wrong(connection: sa.Connection, table: sa.Table) -> list[str]:
    """Names of cells that hold a document which is neither an object nor a list."""
    key = next(iter(table.primary_key))
    out = []
    for column in table.columns:
        if isinstance(column.type, sa.JSON):
            kind = sa.func.json_typeof(column)
            query = sa.select(key).where(kind.not_in(("object", "array"))).order_by(key)
            out += [
                f"{table.name}[{number}].{column.name}"
                for number in connection.execute(query.limit(NAMED + 1)).scalars()
            ]
    return out
