"""Live changes: whoever listens is told what is new, and what he missed while he was away."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass

from calibration.errors import RestmarkError
from service.store import EventRecord, Store

_AT_ONCE = 500
"""Events that are fetched together."""
_LOOK_S = 5.0
"""Another process may write to the same store: it is looked at so often, woken or not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One message to a listener."""

    name: str
    """``change``, or ``gap``: what came between is no longer kept."""
    number: int
    """Of the last change that it covers: a listener who comes again goes on behind it."""
    data: dict[str, object]


class Live:
    """Wakes listeners when the store has kept an event; they read what is new from the store.

    So nobody misses one: not who is slow, not who lost the connection, not over a restart.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._listeners: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}
        self._closed = False
        store.when_told(self._wake)

    def tell(self, kind: str, *, table_id: int | None = None, **ids: int | None) -> None:
        """Keep an event of what the store does not hold, as a watch's state, and wake.

        What is kept is told by ``Writer.tell``, in one transaction with it.
        """
        with self._store.writing() as writer:
            writer.tell(kind, table_id=table_id, **ids)

    def close(self) -> None:
        """End every listener's stream, so that the server can stop."""
        with self._lock:
            self._closed = True
        self._wake()

    async def listen(
        self, *, after: int | None = None, table_id: int | None = None
    ) -> AsyncIterator[Told]:
        """``hello``, then changes from now on, or those behind number ``after``; ends when closed.

        ``table_id``: only that table's, and those of no table.
        """
        woken = asyncio.Event()
        with self._lock:
            self._listeners[woken] = asyncio.get_running_loop()
        try:
            first, last = await asyncio.to_thread(self._greeting, after)
            for told in first:
                yield told
            while not self._closed:
                woken.clear()
                new = await asyncio.to_thread(self._after, last, table_id)
                for record in new:
                    last = record.id
                    yield Told(name="change", number=record.id, data=record.to_dict())
                if len(new) < _AT_ONCE and not self._closed:
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(woken.wait(), _LOOK_S)
        except RestmarkError:
            return  # the store is gone: the listener comes again and is told so
        finally:
            with self._lock:
                self._listeners.pop(woken, None)

    def _greeting(self, after: int | None) -> tuple[list[Told], int]:
        """What a listener hears first, and the number behind which his changes begin."""
        with self._store.reading() as reader:
            oldest, newest = reader.event_numbers()
        last = newest if after is None else after
        first = [Told(name="change", number=last, data={"kind": "hello"})]
        # a number beyond the newest is of another store, or of one that was put back from a copy
        begins = newest if last > newest else max(last, oldest - 1)
        if begins != last:
            gap: dict[str, object] = {"kind": "gap", "after": last, "kept_from": oldest}
            first.append(Told(name="gap", number=begins, data=gap))
        return first, begins

    def _after(self, number: int, table_id: int | None) -> tuple[EventRecord, ...]:
        with self._store.reading() as reader:
            return reader.events(after=number, table_id=table_id, limit=_AT_ONCE)

    def _wake(self) -> None:
        """Any thread may call it."""
        with self._lock:
            for woken, loop in self._listeners.items():
                # a loop that is gone has no listener to wake
                with contextlib.suppress(RuntimeError):
                    loop.call_soon_threadsafe(woken.set)
