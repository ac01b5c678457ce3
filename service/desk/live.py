"""Live changes: whoever listens is told that something is new, and looks for himself."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

_WAITING_LIMIT = 64
"""Changes kept for a listener that is slow; older ones are dropped, he looks anyway."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Something new: ``kind`` is calibration, player, reading, intent, attempt or note."""

    number: int
    kind: str
    ids: dict[str, int | None] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the event's data."""
        return {"kind": self.kind, **self.ids}


class Live:
    """Hands changes from the desk's thread to every listener's event loop."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: dict[asyncio.Queue[Change | None], asyncio.AbstractEventLoop] = {}
        self._number = 0
        self._closed = False

    def tell(self, kind: str, **ids: int | None) -> None:
        """Tell all listeners of a change; may be called from any thread."""
        with self._lock:
            self._number += 1
            change = Change(number=self._number, kind=kind, ids=ids)
            self._send(change)

    def close(self) -> None:
        """End every listener's stream, so that the server can stop."""
        with self._lock:
            self._closed = True
            self._send(None)

    async def listen(self) -> AsyncIterator[Change]:
        """Changes from now on, after a first one of kind ``hello``; ends when closed."""
        queue: asyncio.Queue[Change | None] = asyncio.Queue(_WAITING_LIMIT)
        with self._lock:
            if self._closed:
                return
            self._listeners[queue] = asyncio.get_running_loop()
            hello = Change(number=self._number, kind="hello")
        try:
            yield hello
            while (change := await queue.get()) is not None:
                yield change
        finally:
            with self._lock:
                self._listeners.pop(queue, None)

    def _send(self, change: Change | None) -> None:
        for queue, loop in self._listeners.items():
            # a loop that is gone has no listener to tell
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(_put, queue, change)


def _put(queue: asyncio.Queue[Change | None], change: Change | None) -> None:
    if queue.full():
        queue.get_nowait()
    queue.put_nowait(change)
