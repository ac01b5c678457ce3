"""Stills on disk: one file a content, named by its hash, whole or not there."""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from .private import FOLDER_MODE
from .records import StoreError

PART = ".part"
"""Ending of a file that is being written; what is left of one goes at the next start."""
_SIGNATURES = (
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
)


def media_type_of(data: bytes) -> str:
    """Media type by the bytes themselves; what a sender says of them is not believed."""
    for signature, media_type in _SIGNATURES:
        if data.startswith(signature):
            return media_type
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data[4:8] == b"ftyp":
        return "image/heic"
    return "application/octet-stream"


@dataclass(frozen=True, slots=True, kw_only=True)
class StillFiles:
    """The folder ``stills/``; two-letter subfolders keep it quick to list."""

    folder: Path

    def prepare(self, *, alone: bool) -> None:
        """Make the folder; ``alone``, where nobody else writes there, drop what a crash left
        half written."""
        self.folder.mkdir(parents=True, exist_ok=True, mode=FOLDER_MODE)
        sync_folder(self.folder.parent)
        if alone:
            for leftover in self.folder.glob(f"*/*{PART}"):
                leftover.unlink(missing_ok=True)

    def path(self, sha256: str) -> Path:
        """Where the bytes of that hash lie."""
        return self.folder / sha256[:2] / sha256

    def read(self, sha256: str) -> bytes:
        """The bytes of that hash.

        Raises:
            StoreError: the file is gone or damaged.
        """
        try:
            data = self.path(sha256).read_bytes()
        except OSError as wrong:
            raise _unreadable(sha256, str(wrong)) from None
        if _hash(data) != sha256:
            raise _unreadable(sha256, f"the file has {len(data)} bytes that are not the still's")
        return data

    def has_size(self, sha256: str, size_bytes: int) -> bool:
        """Whether the file of that hash is there, with so many bytes."""
        try:
            return self.path(sha256).stat().st_size == size_bytes
        except OSError:
            return False

    def has_content(self, sha256: str, size_bytes: int) -> bool:
        """Whether the file of that hash holds its bytes."""
        if not self.has_size(sha256, size_bytes):
            return False
        try:
            return _hash(self.path(sha256).read_bytes()) == sha256
        except OSError:
            return False

    def write(self, data: bytes) -> tuple[str, bool]:
        """Put the bytes in place in one step; returns their hash and whether they were new.

        A file that lost its bytes gets them back. Without ``stills/`` it fails: whoever took that
        away took the whole directory.
        """
        sha256 = _hash(data)
        target = self.path(sha256)
        is_new = not target.exists()
        if self.has_content(sha256, len(data)):
            return sha256, False
        if not target.parent.exists():
            target.parent.mkdir(exist_ok=True, mode=FOLDER_MODE)
            sync_folder(self.folder)
        handle, part = tempfile.mkstemp(dir=target.parent, suffix=PART)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(part, target)
            sync_folder(target.parent)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(part)
            raise
        return sha256, is_new

    def remove(self, sha256: str) -> None:
        """Take a file back whose row did not come to be."""
        self.path(sha256).unlink(missing_ok=True)


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def sync_folder(folder: Path) -> None:
    """A file's name too is on disk only once its folder is; not every system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unreadable(sha256: str, why: str) -> StoreError:
    return StoreError(
        f"still {sha256[:12]}…: cannot be read ({why}); allowed: a data directory "
        "whose stills/ is whole. Put the file back from your copy, or post the picture again."
    )
