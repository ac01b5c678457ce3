"""A copy put back: a data directory that is the store again."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from service import clock

from ..archive import Checks, take_archive
from ..archive.manifest import KeptLens
from ..databases import DATABASE_NAME
from ..databases.hold import Hold
from ..databases.kept import FOLDER_NAME, daily_copies, sync
from ..databases.sqlite import look_over_file
from ..files import StillFiles
from ..files_together import StillsTogether
from ..migrate import known_steps
from ..records import DamagedError, StoreError
from ..store import Store
from .lenses import lenses_in, put_back
from .manifest import CopyError, CopyManifest, newer
from .shutting import end_pairings
from .taking import stills_in

SINCE_NAME = "pictures-since-the-copy.txt"
_SUFFIXES = ("", "-wal", "-shm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What was put back."""

    source: Path
    stills: int
    """Stills that the database names."""
    missing: int
    """Those whose picture is neither there nor in the copy."""
    since: int
    """Pictures in ``stills/`` that came after the copy; ``SINCE_NAME`` lists them, oldest first."""
    set_aside: Path | None
    """Where the files lie that were there before."""
    unpaired: int
    """Devices that the copy let in, and that must be paired again."""


def restore(
    source: Path | None,
    data_dir: Path,
    *,
    url: str | None = None,
    replace: bool = False,
    checks: Checks,
) -> Restored:
    """Make ``data_dir`` the store that was copied.

    ``source``: a folder of ``back_up``, or a database's file; None: the newest whole one of the
    daily copies in ``data_dir``. Devices that it lets in are let in no longer: one of them may have
    been shut out since. A database that is there is set aside where ``replace``, else CopyError.
    HeldError where a service runs on it. ``url``: a PostgreSQL database without rows.

    Raises:
        CopyError: it cannot be put back, or a database is there and not to be replaced.
        HeldError: a service runs on it.
    """
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        if url is not None:
            return _take_archive(source, data_dir, url, checks)
        hold = Hold.take(data_dir)
        try:
            return _restore(source, data_dir, replace=replace, checks=checks)
        finally:
            hold.release()
    except OSError as wrong:
        raise CopyError(
            f"{data_dir}: nothing could be put there ({wrong}); allowed: a directory that can be "
            "written, with room left. Make room, or give another one."
        ) from None


def _restore(source: Path | None, data_dir: Path, *, replace: bool, checks: Checks) -> Restored:
    there = [data_dir / f"{DATABASE_NAME}{suffix}" for suffix in _SUFFIXES]
    if there[0].exists() and not replace:
        raise CopyError(
            f"{data_dir}: has a {DATABASE_NAME}; allowed: a folder without one, or --replace, "
            "which sets it aside. Choose one of them.",
            code="store-there",
        )
    database, stills, lenses = _found(source, data_dir, checks)
    put_back(lenses, data_dir)
    part = data_dir / f"{DATABASE_NAME}.part"
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)
    files = StillFiles(folder=data_dir / "stills")
    try:
        shutil.copyfile(database, part)
        unpaired = _shut_out(part)
        sync(part)
        files.prepare(alone=True)
        wanted = dict(stills_in(part))
        missing = _copy_stills(wanted, stills, files)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    aside = _set_aside(there, data_dir)
    os.replace(part, there[0])
    sync(data_dir)
    return Restored(
        source=database if source is None else source,
        stills=len(wanted),
        missing=missing,
        since=_list_since(wanted, files, data_dir),
        set_aside=aside,
        unpaired=unpaired,
    )


def _found(
    source: Path | None, data_dir: Path, checks: Checks
) -> tuple[Path, StillFiles | None, dict[KeptLens, bytes]]:
    """The database's file to put back, looked over, and pictures and lenses that come with it."""
    if source is None:
        return _newest_whole(data_dir), None, {}
    lenses: dict[KeptLens, bytes] = {}
    if source.is_dir():
        made = CopyManifest.read(source)
        made.check(source)
        if made.member.endswith(".zip"):
            raise CopyError(
                f"{source}: is a copy of a PostgreSQL store; allowed: with --store. Give that, or "
                f"take {made.member} in by `restmark import`."
            )
        database, stills = source / made.member, StillFiles(folder=source / "stills")
        lenses = lenses_in(source, made.lenses, checks)
    else:
        database, stills = source, None
    _check(database)
    return database, stills, lenses


def _check(database: Path) -> None:
    """CopyError where it is damaged, or of a newer release."""
    try:
        step = look_over_file(database)
    except StoreError as wrong:
        raise CopyError(wrong.detail) from None
    if step not in known_steps():
        raise newer(database, f"step {step}", f"step {max(known_steps())}")


def _newest_whole(data_dir: Path) -> Path:
    """The newest daily copy that is whole."""
    wrong = []
    for copy in daily_copies(data_dir):
        try:
            _check(copy.path)
            return copy.path
        except CopyError as found:
            wrong.append(found.detail)
    raise CopyError(
        f"{data_dir}: got no whole copy in {FOLDER_NAME}/ ({'; '.join(wrong) or 'it has none'}); "
        "allowed: a folder of `restmark backup`, or a database's file. Give one."
    )


def _shut_out(part: Path) -> int:
    try:
        return end_pairings(part, clock.now())
    except sqlite3.Error as wrong:
        raise OSError(str(wrong)) from None


def _copy_stills(wanted: dict[str, int], source: StillFiles | None, files: StillFiles) -> int:
    """Have the wanted pictures in place; how many cannot be had."""
    missing = 0
    with StillsTogether(files) as together:
        for sha256, size_bytes in wanted.items():
            if not files.has_content(sha256, size_bytes):
                try:
                    if source is None:
                        raise DamagedError("no copy of it")
                    together.add(source.read(sha256))
                except StoreError:
                    missing += 1
        together.settle()
    return missing


def _set_aside(there: list[Path], data_dir: Path) -> Path | None:
    """Move the database's files into a folder of their own; nothing is ever erased."""
    found = [path for path in there if path.exists()]
    if not found:
        return None
    aside = data_dir / f"set-aside-{clock.now().astimezone():%Y%m%d-%H%M%S-%f}"
    aside.mkdir()
    # the log before the database: put on another database it would do harm
    for path in reversed(found):
        os.replace(path, aside / path.name)
    sync(data_dir)
    return aside


def _list_since(wanted: dict[str, int], files: StillFiles, data_dir: Path) -> int:
    """List the pictures that no row names, in the order in which they came."""
    since = [path for path in files.folder.glob("*/*") if path.name not in wanted]
    listing = data_dir / SINCE_NAME
    with contextlib.suppress(OSError):
        listing.unlink(missing_ok=True)
        since.sort(key=lambda path: path.stat().st_mtime)
    if since:
        listing.write_text("".join(f"{path}\n" for path in since), encoding="utf-8")
    return len(since)


def _take_archive(source: Path | None, data_dir: Path, url: str, checks: Checks) -> Restored:
    """An archive into a PostgreSQL database that has no rows yet."""
    made = None if source is None or not source.is_dir() else CopyManifest.read(source)
    if source is None or made is None or not made.member.endswith(".zip"):
        raise CopyError(
            f"{source}: is no copy of a PostgreSQL store; allowed with --store: a folder that "
            "`restmark backup --store` made. Give one, or move by `restmark export`."
        )
    made.check(source)
    with contextlib.closing(Store(data_dir, url, hold=True)) as store:
        with store.reading() as reader:
            is_used = any(reader.counts().values()) or reader.calibration() is not None
        if is_used:
            raise CopyError(
                "--store: got a database with rows; allowed: an empty one. Make one and give it.",
                code="store-there",
            )
        taken = take_archive(store, source / made.member, checks=checks)
    return Restored(
        source=source,
        stills=taken.added.get("stills", 0),
        missing=len(made.missing_stills),
        since=0,
        set_aside=None,
        # an archive leaves devices at home
        unpaired=0,
    )
