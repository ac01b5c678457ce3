"""What command line and service call to move a store."""

from __future__ import annotations

from pathlib import Path
from typing import IO

from service.store import Store
from service.store.archive import Taken, export_archive, take_archive

from .checks import CHECKS

__all__ = ["export_archive", "take_in"]


def take_in(store: Store, source: Path | IO[bytes]) -> Taken:
    """All of an archive's file in ``store``; ArchiveError where it is refused, as a whole."""
    return take_archive(store, source, checks=CHECKS)
