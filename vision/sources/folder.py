"""Stills that arrive in a folder one by one, from a camera's own trigger, a phone, a program.

Each counts as taken when all lay still.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

from watchfiles import Change, watch

from vision.still import StillError, decode_still

from .frame import Frame, SourceError, Tell, untold

STILL_SUFFIXES = (".jpg", ".jpeg", ".png")
LOOK_AGAIN_MS = 200
"""A file that is still being written is looked at again so soon."""
UNFINISHED_S = 5.0
"""A still that is not whole by then is told and left."""


class WatchedFolder:
    """A folder's stills: those it holds, oldest first, then every new one."""

    def __init__(self, path: Path, *, only_new: bool = False, tell: Tell = untold) -> None:
        self.path = path
        self.only_new = only_new
        self.tell = tell
        self._closed = threading.Event()
        self._waiting: dict[Path, float] = {}
        self._taken: dict[Path, tuple[int, int]] = {}

    def frames(self) -> Iterator[Frame]:
        """Whole stills as they arrive; waits for more until closed.

        Raises:
            SourceError: there is no such folder.
        """
        if not self.path.is_dir():
            raise SourceError(
                f"{self.path}: no such folder; allowed: a folder in which stills arrive. Make it "
                "or correct the name."
            )
        changes = watch(
            self.path, stop_event=self._closed, recursive=False, debounce=50, step=20,
            rust_timeout=LOOK_AGAIN_MS, yield_on_timeout=True, raise_interrupt=True,
        )  # fmt: skip
        for path in sorted(self._stills(), key=lambda path: (path.stat().st_mtime_ns, path.name)):
            if self.only_new:
                self._taken[path] = _version(path)
            else:
                self._waiting[path] = time.monotonic()
        yield from self._whole()
        for batch in changes:
            for change, name in sorted(batch, key=lambda item: item[1]):
                path = Path(name)
                if change != Change.deleted and path.suffix.lower() in STILL_SUFFIXES:
                    self._waiting.setdefault(path, time.monotonic())
            # a still that came before the watch began is in no batch
            for path in self._stills():
                if path not in self._taken:
                    self._waiting.setdefault(path, time.monotonic())
            yield from self._whole()

    def close(self) -> None:
        """End ``frames`` soon."""
        self._closed.set()

    def _stills(self) -> list[Path]:
        return [path for path in self.path.iterdir() if path.suffix.lower() in STILL_SUFFIXES]

    def _whole(self) -> Iterator[Frame]:
        """Frames of the waiting stills that are whole; the others wait on, or are told."""
        for path, since_s in list(self._waiting.items()):
            if self._closed.is_set():
                return
            try:
                version = _version(path)
                if self._taken.get(path) == version:
                    del self._waiting[path]
                    continue
                picture = decode_still(path.read_bytes(), name=path.name)
            except OSError:  # taken away meanwhile, or not readable yet
                refused = f"{path.name}: cannot be opened."
            except StillError as wrong:
                refused = wrong.detail
            else:
                del self._waiting[path]
                self._taken[path] = version
                yield Frame(picture=picture, at_s=time.monotonic(), name=path.name, settled=True)
                continue
            if time.monotonic() - since_s > UNFINISHED_S:
                del self._waiting[path]
                self._taken[path] = _version(path) if path.exists() else (0, 0)
                self.tell(refused)


def _version(path: Path) -> tuple[int, int]:
    """What changes when a file is written anew."""
    state = path.stat()
    return state.st_mtime_ns, state.st_size
