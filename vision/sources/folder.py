"""Stills that arrive in a folder one by one, from a camera's own trigger, a phone, a program.

Each counts as taken when all lay still. A folder that goes away, a card that is pulled out or a
share that is down, is waited for.
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
        self._away = self._begun = False

    @property
    def away(self) -> bool:
        """Whether the folder is gone; its stills go on where it comes back."""
        return self._away

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
        if self.only_new and not self._begun:
            self._taken = {path: _version(path) for path in self._stills()}
        self._begun = True
        while not self._closed.is_set():
            yield from self._while_there()
            self._wait_for_it()

    def _while_there(self) -> Iterator[Frame]:
        """Stills until the folder is gone or another one lies in its place."""
        there = _place(self.path)
        changes = watch(
            self.path, stop_event=self._closed, recursive=False, debounce=50, step=20,
            rust_timeout=LOOK_AGAIN_MS, yield_on_timeout=True, raise_interrupt=True,
        )  # fmt: skip
        try:
            self._look()
            yield from self._whole()
            for batch in changes:
                if there is None or _place(self.path) != there:
                    return
                for change, name in sorted(batch, key=lambda item: item[1]):
                    path = Path(name)
                    if change != Change.deleted and path.suffix.lower() in STILL_SUFFIXES:
                        self._waiting.setdefault(path, time.monotonic())
                # a still that came before the watch began, or over a network, is in no batch
                self._look()
                yield from self._whole()
        except FileNotFoundError:
            return

    def _look(self) -> None:
        """Stills that lie there and were not taken wait for their turn, the oldest first."""
        new = [path for path in self._stills() if path not in self._taken]
        for path in sorted(new, key=lambda path: (path.stat().st_mtime_ns, path.name)):
            self._waiting.setdefault(path, time.monotonic())

    def _wait_for_it(self) -> None:
        """Until the folder is there (again), with words."""
        while not self._closed.is_set() and not self.path.is_dir():
            if not self._away:
                self._away = True
                self.tell(
                    f"{self.path}: the folder is gone. Stills are taken from it again by itself as "
                    "soon as it is there."
                )
            self._closed.wait(LOOK_AGAIN_MS / 1e3)
        if self._away and not self._closed.is_set():
            self._away = False
            self.tell(f"{self.path}: there again.")

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
                data = path.read_bytes()
                picture = decode_still(data, name=path.name)
            except OSError:  # taken away meanwhile, or not readable yet
                refused = f"{path.name}: cannot be opened."
            except StillError as wrong:
                refused = wrong.detail
            else:
                del self._waiting[path]
                self._taken[path] = version
                yield Frame(
                    picture=picture, at_s=time.monotonic(), name=path.name, settled=True, data=data,
                )  # fmt: skip
                continue
            if time.monotonic() - since_s > UNFINISHED_S:
                del self._waiting[path]
                self._taken[path] = _version(path) if path.exists() else (0, 0)
                self.tell(refused)


def _version(path: Path) -> tuple[int, int]:
    """What changes when a file is written anew."""
    state = path.stat()
    return state.st_mtime_ns, state.st_size


def _place(path: Path) -> tuple[int, int] | None:
    """Which folder lies there: another one after a card was changed; None where none does."""
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_dev, state.st_ino
