"""Parts of pages as they were rendered last: screens that show the same cost one rendering.

A part is worked out of the store and of what is named beside it. It holds for one revision of the
store; a browser that names what it has (``If-None-Match``) is told that nothing is new.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

MOST = 32
"""Screens that see things in another way: unit, turn, table, role."""


@dataclass(frozen=True, slots=True)
class Html:
    """A rendered part."""

    text: str
    tag: str
    """Quoted, as the header has it; the same where the text is."""

    @classmethod
    def of(cls, text: str) -> Html:
        """With its tag."""
        return cls(text, f'"{hashlib.blake2b(text.encode(), digest_size=12).hexdigest()}"')


@dataclass(slots=True)
class _Slot:
    lock: threading.Lock = field(default_factory=threading.Lock)
    holds: tuple[Any, ...] | None = None
    """Revision of the store, and what was given beside it."""
    html: Html | None = None


class KeptParts:
    """The last rendering of each part. Any thread may ask; who asks for the same waits for it."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._slots: OrderedDict[Hashable, _Slot] = OrderedDict()

    def html(
        self,
        key: Hashable,
        revision: Hashable | None,
        given: tuple[Any, ...],
        render: Callable[[], str],
    ) -> Html:
        """The part named ``key``: as kept, where it was rendered of that revision and ``given``.

        ``revision`` must be asked for before the store is looked at; None: it cannot be told, and
        nothing is kept.
        """
        if revision is None:
            return Html.of(render())
        holds = (revision, *given)
        slot = self._slot(key)
        with slot.lock:
            if slot.html is None or slot.holds != holds:
                slot.html, slot.holds = Html.of(render()), holds
            return slot.html

    def _slot(self, key: Hashable) -> _Slot:
        with self._lock:
            slot = self._slots.setdefault(key, _Slot())
            self._slots.move_to_end(key)
            if len(self._slots) > self._most:
                self._slots.popitem(last=False)
            return slot
