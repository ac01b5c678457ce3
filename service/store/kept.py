"""A copy of the database that was whole: a way out when it no longer is."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from pathlib import Path

import sqlalchemy as sa

KEPT_NAME = "restmark.db.kept"
KEPT_FOR_S = 3600.0
"""A copy younger than this is not made anew, so that starts in a row do not use it up."""


def keep_copy(engine: sa.Engine, data_dir: Path, *, kept_for_s: float = KEPT_FOR_S) -> None:
    """Copy the database, just found whole, beside itself; a disk too full keeps the older copy."""
    kept = data_dir / KEPT_NAME
    with contextlib.suppress(OSError):
        if time.time() - kept.stat().st_mtime < kept_for_s:
            return
    part = kept.with_suffix(".part")
    try:
        part.unlink(missing_ok=True)
        with (
            contextlib.closing(engine.raw_connection()) as pooled,
            contextlib.closing(sqlite3.connect(part)) as copy,
        ):
            source = pooled.driver_connection
            assert isinstance(source, sqlite3.Connection)
            source.backup(copy)
        os.replace(part, kept)
    except (OSError, sqlite3.Error):
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
