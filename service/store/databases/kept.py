"""Daily copies of the database, each whole when it was made: a way out when it no longer is.

The rule: the newest seven days that have a copy, and of the days before them the newest of each
calendar week, for four such weeks. It counts copies, not days from today, so that a clock that
stands wrong, or a month without play, takes none away.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import sqlalchemy as sa

from service import clock

FOLDER_NAME = "copies"
DAYS, WEEKS = 7, 4
FRESH_S = 3600.0
"""A copy of today younger than this is not made anew, so that starts in a row cost nothing."""
ROOM_BYTES = 300_000_000
"""So much stays free beside a new copy; practice needs it more."""
_PREFIX, _SUFFIX = "restmark-", ".db"


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyCopy:
    """One copy, by the day it is of."""

    day: date
    path: Path


def daily_copies(data_dir: Path, *, today: date | None = None) -> tuple[DailyCopy, ...]:
    """The copies there are, newest first; those of days to come were made by a wrong clock and
    stand last."""
    found = []
    for path in (data_dir / FOLDER_NAME).glob(f"{_PREFIX}*{_SUFFIX}"):
        with contextlib.suppress(ValueError):
            day = date.fromisoformat(path.name.removeprefix(_PREFIX).removesuffix(_SUFFIX))
            found.append(DailyCopy(day=day, path=path))
    tomorrow = (today or clock.today()) + timedelta(days=1)
    return tuple(sorted(found, key=lambda each: (each.day <= tomorrow, each.day), reverse=True))


def superfluous(copies: Sequence[DailyCopy]) -> tuple[DailyCopy, ...]:
    """Which copies, given newest first, the rule no longer keeps."""
    kept = list(copies[:DAYS])
    weeks: list[tuple[int, int]] = []
    for copy in copies[DAYS:]:
        week = copy.day.isocalendar()[:2]
        if week not in weeks and len(weeks) < WEEKS:
            weeks.append(week)
            kept.append(copy)
    return tuple(copy for copy in copies if copy not in kept)


def keep_copy(engine: sa.Engine, data_dir: Path, *, fresh_s: float = FRESH_S) -> str:
    """Copy the database, just found whole, as today's, and drop what the rule keeps no longer.

    Returns what stood in the way, empty where nothing did; then the older copies are all there.
    """
    folder, today = data_dir / FOLDER_NAME, clock.today()
    kept = folder / f"{_PREFIX}{today.isoformat()}{_SUFFIX}"
    with contextlib.suppress(OSError):
        if 0 <= time.time() - kept.stat().st_mtime < fresh_s:
            return ""
    try:
        _make_folder(folder)
        size = (data_dir / "restmark.db").stat().st_size
        free = shutil.disk_usage(folder).free
        if free < size + ROOM_BYTES:
            return f"the disk has {free / 1e9:.1f} GB left, and a copy takes {size / 1e9:.1f} GB"
        write_copy(engine, kept)
        for copy in superfluous(daily_copies(data_dir, today=today)):
            if copy.path != kept:
                copy.path.unlink(missing_ok=True)
    except (OSError, sqlite3.Error) as wrong:
        return str(wrong)
    return ""


def write_copy(engine: sa.Engine, path: Path) -> None:
    """One file with all that is committed, as at one moment; whole, or not there under that name.

    Others may write meanwhile. OSError or sqlite3.Error where it cannot be.
    """
    part = path.with_suffix(".part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        with (
            contextlib.closing(engine.raw_connection()) as pooled,
            contextlib.closing(sqlite3.connect(part)) as copy,
        ):
            source = pooled.driver_connection
            assert isinstance(source, sqlite3.Connection)
            source.backup(copy)
            # one file alone, not one that expects a log beside it
            copy.execute("PRAGMA journal_mode = DELETE")
        sync(part)
        os.replace(part, path)
        sync(path.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def _make_folder(folder: Path) -> None:
    folder.mkdir(exist_ok=True, mode=0o700)
    for leftover in folder.glob("*.part*"):
        leftover.unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Have a file's bytes, or a folder's names, on disk; not every system can do the latter."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except PermissionError:
        return
    try:
        os.fsync(handle)
    except OSError:
        if path.is_file():
            raise
    finally:
        os.close(handle)
