"""A copy of a store, taken while it is in use."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from alembic.runtime.migration import MigrationContext

from service import clock

from ..archive import export_archive
from ..archive.manifest import KeptLens
from ..databases.kept import sync
from ..files import StillFiles
from ..files_together import StillsTogether
from ..records import StoreError
from ..store import Store
from .lenses import copy_lenses, drop_other_lenses
from .manifest import CopyError, CopyManifest, hash_of


def back_up(store: Store, folder: Path) -> CopyManifest:
    """Everything that ``store`` keeps in ``folder``, made if missing; others may write meanwhile.

    A copy that lies there already is brought up to date: pictures that it has are not written
    again. It stays what it was until the new one is whole. A store in PostgreSQL is copied as an
    archive. Raises StoreError where it cannot be.
    """
    if store.data_dir.resolve() in (folder.resolve(), *folder.resolve().parents):
        raise CopyError(
            f"{folder}: lies in the data folder itself; allowed: a folder elsewhere, best on "
            "another disk. Give one."
        )
    try:
        return _back_up(store, folder)
    except OSError as wrong:
        raise CopyError(
            f"{folder}: the copy could not be made ({wrong}); allowed: a folder that can be "
            "written, with room left. Make room, or give another one."
        ) from None


def _back_up(store: Store, folder: Path) -> CopyManifest:
    folder.mkdir(parents=True, exist_ok=True)
    now = clock.now()
    member = folder / f"restmark-{now:%Y%m%dT%H%M%S%f}Z.db"
    with store.reading() as reader:
        step = MigrationContext.configure(reader.connection).get_current_revision()
    try:
        made = _written(store, folder, member, now=now, step=str(step))
    except BaseException:
        # on a full disk it would stand in the way of the next
        for left in (member, member.with_suffix(".zip"), member.with_suffix(".part")):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)
        raise
    drop_other_lenses(made.lenses, folder)
    for earlier in (*folder.glob("restmark-*.db"), *folder.glob("restmark-*.zip")):
        if earlier.name != made.member:
            earlier.unlink(missing_ok=True)
    return made


def _written(store: Store, folder: Path, member: Path, *, now: datetime, step: str) -> CopyManifest:
    """Everything written, and told by the manifest last: until then the copy before holds."""
    copied, missing, lenses = 0, list[str](), tuple[KeptLens, ...]()
    # the rows first: a still is on disk before its row, so every still of these rows is there
    if store.write_copy(member):
        copied, missing = _copy_stills(member, store.files, folder)
        lenses = copy_lenses(store.data_dir, folder)
    else:
        member = member.with_suffix(".zip")
        _write_archive(store, member)
    made = CopyManifest(
        made_at=now,
        software=version("restmark"),
        step=step,
        member=member.name,
        size_bytes=member.stat().st_size,
        sha256=hash_of(member),
        stills=copied,
        missing_stills=tuple(missing),
        lenses=lenses,
    )
    made.write(folder)
    return made


def _copy_stills(database: Path, source: StillFiles, folder: Path) -> tuple[int, list[str]]:
    """Copy the stills that the copied rows name; how many lie there, and which cannot be had."""
    target = StillFiles(folder=folder / "stills")
    target.prepare(alone=True)
    copied, missing = 0, []
    with StillsTogether(target) as together:
        for sha256, size_bytes in stills_in(database):
            if not target.has_content(sha256, size_bytes):
                try:
                    together.add(source.read(sha256))
                except StoreError:
                    missing.append(sha256)
                    continue
            copied += 1
        together.settle()
    return copied, missing


def stills_in(database: Path) -> list[tuple[str, int]]:
    """Hash and size of every still that a database's file names."""
    address = f"{database.absolute().as_uri()}?mode=ro"
    with contextlib.closing(sqlite3.connect(address, uri=True)) as connection:
        return connection.execute("SELECT DISTINCT sha256, size_bytes FROM stills").fetchall()


def _write_archive(store: Store, path: Path) -> None:
    handle, part = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(export_archive(store))
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
        sync(path.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(part)
        raise
