"""Many stills on disk at once: written first, then synced together, then given their names.

A sync for each of many files would be most of the time that taking in an archive needs.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType

from .files import PART, StillFiles, sync_folder
from .private import FILE_MODE, FOLDER_MODE

_HASH_BYTES = 32


class StillsTogether:
    """Stills that get their names together.

    ``add`` writes, ``settle`` syncs what was written and names it; a block that is left before
    leaves nothing behind. A power cut in between leaves whole files, and parts that the next start
    drops: never half a file under a still's name.
    """

    def __init__(self, files: StillFiles) -> None:
        self._files = files
        # 32 bytes a still
        self._written, self._new = bytearray(), bytearray()
        self._part = f".{os.urandom(4).hex()}{PART}"

    def __enter__(self) -> StillsTogether:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        wrong: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        for sha256 in self._hashes():
            self._part_of(sha256).unlink(missing_ok=True)

    def add(self, data: bytes) -> None:
        """Write the bytes of one still that does not lie there whole (``StillFiles.has_content``).

        Raises:
            OSError: the disk is full, or gone.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        part = self._part_of(sha256)
        if part.exists():
            return
        part.parent.mkdir(exist_ok=True, mode=FOLDER_MODE)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE)
        self._written += bytes.fromhex(sha256)
        with os.fdopen(handle, "wb") as file:
            file.write(data)

    def settle(self) -> None:
        """Have all on disk, then under their names.

        Raises:
            OSError: something could not be written.
        """
        if not self._written:
            return
        sync_files(self._files.folder, map(self._part_of, self._hashes()))
        for sha256 in self._hashes():
            target = self._files.path(sha256)
            is_new = not target.exists()
            os.replace(self._part_of(sha256), target)
            if is_new:
                self._new += bytes.fromhex(sha256)
        for folder in {self._files.path(sha256).parent for sha256 in self._hashes()}:
            sync_folder(folder)
        sync_folder(self._files.folder)

    def take_back(self) -> None:
        """Remove what ``settle`` put there anew: no row came to name it."""
        for sha256 in _hashes_in(self._new):
            self._files.remove(sha256)
        self._new.clear()

    def _hashes(self) -> Iterator[str]:
        return _hashes_in(self._written)

    def _part_of(self, sha256: str) -> Path:
        return self._files.path(sha256).with_name(sha256 + self._part)


def _hashes_in(held: bytearray) -> Iterator[str]:
    for at in range(0, len(held), _HASH_BYTES):
        yield held[at : at + _HASH_BYTES].hex()


def sync_files(folder: Path, paths: Iterator[Path]) -> None:
    """Have what was written to those files, which lie in ``folder``, on disk.

    By one call for the whole file system where there is one that waits and tells of failures
    (Linux), else file by file.

    Raises:
        OSError: something could not be written.
    """
    whole = _whole_sync()
    if whole is None:
        for path in paths:
            # not every system syncs what was opened to be read
            handle = os.open(path, os.O_RDWR)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        if whole(handle) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(folder))
    finally:
        os.close(handle)


def _whole_sync() -> Callable[[int], int] | None:
    """``syncfs`` of the C library, which Python has no name for."""
    if not sys.platform.startswith("linux"):
        return None
    with contextlib.suppress(AttributeError, OSError):
        found = ctypes.CDLL(None, use_errno=True).syncfs
        found.argtypes, found.restype = (ctypes.c_int,), ctypes.c_int
        return found
    return None
