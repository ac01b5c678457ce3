"""What lies in the data folder is its owner's alone: folders 0700, files 0600."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

FOLDER_MODE, FILE_MODE = 0o700, 0o600
OWN_FOLDERS = frozenset({"stills", "lenses", "tls", "backups", "copies", "logs"})
_OWN_PREFIX = "restmark"
"""Of the files that lie in the folder itself."""


def make_private(data_dir: Path) -> None:
    """Close what lies there to everybody else, as far as the file system has such modes.

    A folder in which other things lie too stays as it is: only what is ours in it is closed.
    """
    with contextlib.suppress(OSError):
        entries = list(data_dir.iterdir())
        for entry in entries:
            if entry.name in OWN_FOLDERS and entry.is_dir():
                _close(entry, FOLDER_MODE)
            elif entry.name.startswith(_OWN_PREFIX) and entry.is_file():
                _close(entry, FILE_MODE)
        if all(_is_ours(entry.name) for entry in entries):
            _close(data_dir, FOLDER_MODE)


def make_file(path: Path) -> None:
    """An empty file that nobody else can read, where there is none yet."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT, FILE_MODE))


def _is_ours(name: str) -> bool:
    return name in OWN_FOLDERS or name.startswith((_OWN_PREFIX, "set-aside-"))


def _close(path: Path, mode: int) -> None:
    """Take away what others may; what the owner may stays."""
    with contextlib.suppress(OSError):
        now = stat.S_IMODE(path.stat().st_mode)
        if now & ~mode & 0o077:
            path.chmod(now & ~0o077)
