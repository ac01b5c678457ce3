"""The data directory: opened, brought up to date, read by many and written by one."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import sqlalchemy as sa

from service import clock, log

from .asking.known import KnownCalibrations
from .check import STILLS_LIMIT_S, StillsCheck, check_stills, kept_stills, records_of
from .condition import DAMAGED, LOOKING, UNKNOWN, WHOLE, Condition
from .databases import database_of
from .databases.kept import sync
from .files import StillFiles
from .files_together import StillsTogether
from .keeper import Keeper
from .migrate import is_newest, migrate
from .private import FOLDER_MODE, make_private
from .reader import Reader
from .records import DamagedError, NoStoreError, StillRecord, StoreError
from .writer import Writer
from .writing.moments import Moments, newest_kept

LARGE_BYTES = 100_000_000
"""A database up to that size is looked over before anybody is served: within about a second."""
_STILLS_DAILY_S, _STILLS_PAUSE_S = 3600.0, 0.01
"""The daily look at the stills' files: so long at most, and idle so long after each of them."""


class Store:
    """One data directory, and the database beside or in it. Safe to share between threads.

    What is acknowledged is on disk under its name: where the directory was taken away or
    exchanged while it was open, every answer is a refusal.
    """

    def __init__(
        self,
        data_dir: Path,
        url: str | None = None,
        *,
        hold: bool = False,
        must_exist: bool = False,
        large_bytes: int | None = None,
    ) -> None:
        """Open ``data_dir``, made if missing; StoreError where it cannot be used or is damaged.

        ``url`` names the database, ``postgresql+psycopg://…``; None: ``restmark.db`` in
        ``data_dir``, where the stills' files lie in any case. ``hold``: as the one service on
        it; HeldError where another is. It is then looked over and copied once a day, and one
        larger than ``large_bytes`` (None: ``LARGE_BYTES``) is looked over while it can be read
        already; writes wait.
        ``must_exist``: NoStoreError where no store was made.
        """
        self.data_dir = data_dir
        self.files = StillFiles(folder=data_dir / "stills")
        self.stills_check = StillsCheck(stills=0, sized=0, hashed=0)
        """How whole the stills' files were when they were looked at last."""
        self._condition = Condition()
        self._looked = threading.Event()
        self._looking: sa.Connection | None = None
        self._look: threading.Thread | None = None
        self._keeper: Keeper | None = None
        self._lock = threading.Lock()
        self.moments = Moments()
        """When what is kept was kept."""
        self._listeners: list[Callable[[], None]] = []
        self._written = 0
        self._known = KnownCalibrations()
        self._database = database_of(data_dir, url)
        self._opened: tuple[int, ...] | None = None
        try:
            with self._refusals():
                if not self._database.is_there() and must_exist:
                    raise NoStoreError.at(self._database.place)
                self._open(
                    hold=hold, large_bytes=LARGE_BYTES if large_bytes is None else large_bytes
                )
        except BaseException:
            self.close()
            raise

    def _open(self, *, hold: bool, large_bytes: int) -> None:
        database = self._database
        self.data_dir.mkdir(parents=True, exist_ok=True, mode=FOLDER_MODE)
        sync(self.data_dir.parent)
        if hold:
            database.hold()
        self.files.prepare(alone=hold)
        database.prepare()
        make_private(self.data_dir)
        began = time.monotonic()
        with database.writing(references=False) as connection:
            # steps change tables, and only what is whole may be changed
            later = hold and database.is_large(large_bytes) and is_newest(connection)
            if not later:
                database.check_structure(connection)
            migrate(connection, place=database.place)
            if not later:
                database.check_cells(connection)
            self.moments.begin(newest_kept(connection))
        self._opened = database.identity()
        if later:
            self._condition = Condition(state=LOOKING, copies=database.copies())
            self._look = threading.Thread(target=self.look_over, name="restmark-look", daemon=True)
            self._look.start()
            return
        self._found(Condition(state=WHOLE, took_s=time.monotonic() - began), copies=hold)
        if hold:
            self._keep_daily()

    def wait_looked(self) -> None:
        """Wait until the look that begins with a large store's start is over, copy and all."""
        if self._look is not None:
            self._look.join()

    def _keep_daily(self) -> None:
        self._keeper = Keeper(self._daily)
        self._keeper.start()

    def _daily(self) -> None:
        if self.look_over().state == WHOLE:
            self.check_stills(limit_s=_STILLS_DAILY_S, pause_s=_STILLS_PAUSE_S)

    def close(self) -> None:
        """Give the database's files back, and the directory to others."""
        looking = self._looking
        if looking is not None:
            with suppress(sa.exc.SQLAlchemyError, AttributeError):
                self._database.interrupt(looking)
        if self._look is not None:
            self._look.join(10.0)
        if self._keeper is not None:
            self._keeper.close()
        self._database.release()

    # -- how whole it is -------------------------------------------------------------------

    @property
    def condition(self) -> Condition:
        """What was found of the database when it was looked over last."""
        return self._condition

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person must know of database, stills and clock; empty where all is well."""
        return (
            *self._condition.warnings,
            *self.stills_check.warnings,
            *self.moments.warnings,
        )

    def look_over(self) -> Condition:
        """Look at every page and cell, while others read; nothing is written on damage after it.

        Where all is whole, today's copy is kept.
        """
        began = time.monotonic()
        found = Condition(state=WHOLE)
        try:
            with self._refusals(), self._database.looking() as connection:
                self._check_place()
                self._looking = connection
                self._database.check_structure(connection)
                self._database.check_cells(connection)
        except DamagedError as wrong:
            found = Condition(state=DAMAGED, detail=wrong.detail)
        except StoreError as wrong:
            # not damage: the place is gone, or could not be asked; every write says so itself
            found = Condition(state=UNKNOWN, detail=wrong.detail)
        finally:
            self._looking = None
        self._found(replace(found, took_s=time.monotonic() - began), copies=True)
        if self._keeper is None and found.state == WHOLE:
            self._keep_daily()
        return self._condition

    def _found(self, condition: Condition, *, copies: bool) -> None:
        """Keep what was found, a copy of what was found whole, and let writes go on."""
        condition = replace(condition, looked_at=clock.now())
        self._condition = condition
        self._looked.set()
        if copies:
            no_copy = self._database.keep_copy() if condition.state == WHOLE else ""
            self._condition = replace(condition, no_copy=no_copy, copies=self._database.copies())
            log.event(
                "looked over", state=condition.state, took_s=condition.took_s, no_copy=no_copy,
                detail=condition.detail,
            )  # fmt: skip

    def _check_condition(self) -> None:
        """Refuse a write on what is damaged; wait where it is looked over for the first time."""
        self._looked.wait()
        if self._condition.state == DAMAGED:
            raise DamagedError(self._condition.detail)

    def check_stills(self, *, limit_s: float = STILLS_LIMIT_S, pause_s: float = 0.0) -> StillsCheck:
        """Whether the stills' files are whole, as far as can be looked at in ``limit_s``."""
        with self._refusals():
            with self._database.looking() as connection:
                stills = kept_stills(connection)
            self.stills_check = check_stills(
                stills, self.files, records=self._stills_of, limit_s=limit_s, pause_s=pause_s
            )
        return self.stills_check

    def _stills_of(self, numbers: Sequence[int]) -> Sequence[StillRecord]:
        with self._database.looking() as connection:
            return records_of(connection, numbers)

    def write_copy(self, path: Path) -> bool:
        """All but the stills as one file, while others write; False for PostgreSQL."""
        with self._refusals():
            self._check_place()
            return self._database.write_copy(path)

    def mend_still(self, data: bytes) -> None:
        """Give a kept still's file its bytes back, where it lost them."""
        with self._refusals():
            self.files.write(data)

    @contextmanager
    def stills_together(self) -> Iterator[StillsTogether]:
        """Many stills' files, written before rows name them; StoreError where they cannot be."""
        with self._refusals(), StillsTogether(self.files) as together:
            self._check_place()
            yield together

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """A reader; all its answers come from the same moment."""
        with self._refusals(), self._database.looking() as connection:
            self._check_place()
            yield Reader(connection, self._known)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """A writer; its changes come to be together at the block's end, or none does."""
        self._check_condition()
        with self._lock, self._refusals(), self._database.writing() as connection:
            writer = Writer(connection, self.files, self.moments.next(), self._known)
            try:
                self._check_place()
                self._database.check_hold()
                yield writer
                writer.check_files()
                connection.commit()
                self._written += 1
                self._check_place()
            except BaseException:
                connection.rollback()
                writer.take_back_files()
                raise
        if writer.has_told:
            for wake in self._listeners:
                wake()

    def revision(self) -> tuple[int, ...] | None:
        """Another value after every change, by other processes too; None: nobody can tell.

        Two looks at the store between which it stayed the same saw the same.
        """
        outside = self._database.written()
        return None if outside is None else (self._written, *outside)

    def when_told(self, wake: Callable[[], None]) -> None:
        """Have ``wake`` called whenever an event was kept; it must not take long."""
        self._listeners.append(wake)

    def _check_place(self) -> None:
        """Refuse where the directory is no longer the one that was opened."""
        try:
            now = self._database.identity()
        except OSError:
            now = None
        if now != self._opened:
            state = "is gone" if now is None else "is another file than the one opened"
            raise StoreError(
                f"{self.data_dir}: {self._database.identified} {state}: the directory was taken "
                "away or exchanged while it was in use, and nothing can be kept in it; allowed: "
                "the directory as it was opened. Stop, put it back from your copy, and start again."
            )

    @contextmanager
    def _refusals(self) -> Iterator[None]:
        """Turn what disk and database complain of into one clear refusal."""
        try:
            yield
        except (OSError, UnicodeError, sa.exc.DBAPIError, sa.exc.TimeoutError) as wrong:
            raise self._database.refusal(wrong) from wrong
