"""A store looked at without a change to it: no step is taken, no copy made, nobody kept out."""

from __future__ import annotations

import contextlib
import time
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path

import sqlalchemy as sa
from alembic.runtime.migration import MigrationContext

from .check import StillsCheck, check_stills, kept_stills, records_of
from .databases import database_of
from .databases.hold import LOCK_NAME, Hold
from .files import StillFiles
from .migrate import is_newest, known_steps
from .reader import Reader
from .records import CalibrationRecord, NoStoreError, StoreError, TableRecord, WatchRecord
from .writing.moments import newest_kept

MOST_TABLES = 100
_STILLS_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Examined:
    """What was found of a store."""

    step: str
    is_newest: bool
    """False: an older release left it, and a start brings it up; the rest was not asked then."""
    took_s: float
    copies: tuple[date, ...]
    stills: StillsCheck
    counts: dict[str, int]
    tables: tuple[tuple[TableRecord, CalibrationRecord | None], ...] = ()
    watches: tuple[WatchRecord, ...] = ()
    newest_at: datetime | None = None
    """When what was kept last was kept, by the clock of then."""


def examine(data_dir: Path, url: str | None = None) -> Examined:
    """Look at every page and cell, and at the stills' files for so long as a person waits.

    Raises:
        NoStoreError: none was made there.
        DamagedError: it is damaged.
        StoreError: it cannot be opened, or a newer release wrote it.
    """
    database = database_of(data_dir, url)
    try:
        if not database.is_there():
            raise NoStoreError.at(database.place)
        began = time.monotonic()
        with database.looking() as connection:
            database.check_structure(connection)
            step = str(MigrationContext.configure(connection).get_current_revision())
            if step not in known_steps():
                raise StoreError(
                    f"{database.place}: got step {step}; allowed: steps up to "
                    f"{max(known_steps())}. A newer Restmark wrote it: use that one."
                )
            newest = is_newest(connection)
            stills = StillsCheck(stills=0, sized=0, hashed=0)
            if not newest:
                return Examined(
                    step=step, is_newest=False, took_s=time.monotonic() - began,
                    copies=database.copies(), stills=stills, counts={},
                )  # fmt: skip
            database.check_cells(connection)
            took_s = time.monotonic() - began
            reader = Reader(connection)
            tables = reader.tables(limit=MOST_TABLES)
            stills = check_stills(
                kept_stills(connection),
                StillFiles(folder=data_dir / "stills"),
                records=partial(records_of, connection),
                limit_s=_STILLS_S,
            )
            return Examined(
                step=step,
                is_newest=True,
                took_s=took_s,
                copies=database.copies(),
                stills=stills,
                counts=reader.counts(),
                tables=tuple((each, reader.calibration(table_id=each.id)) for each in tables),
                watches=reader.watches(),
                newest_at=newest_kept(connection),
            )
    except (OSError, UnicodeError, sa.exc.DBAPIError, sa.exc.TimeoutError) as wrong:
        raise database.refusal(wrong) from wrong
    finally:
        database.release()


def held_by(data_dir: Path) -> str | None:
    """Who serves ``data_dir`` now, in words; None: nobody."""
    if not (data_dir / LOCK_NAME).exists():
        return None
    try:
        with contextlib.suppress(OSError):
            Hold.take(data_dir).release()
    except StoreError as held:
        return held.detail.partition("another service, ")[2].partition(";")[0]
    return None
