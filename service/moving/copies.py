"""What the command line calls to copy a store and to put a copy back."""

from __future__ import annotations

from pathlib import Path

from service.store import copies
from service.store.copies import CopyManifest, Restored, back_up

from .checks import CHECKS

__all__ = ["CopyManifest", "Restored", "back_up", "restore"]


def restore(
    source: Path | None, data_dir: Path, *, url: str | None = None, replace: bool = False
) -> Restored:
    """As ``service.store.copies.restore``."""
    return copies.restore(source, data_dir, url=url, replace=replace, checks=CHECKS)
