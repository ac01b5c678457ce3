"""A bounded place in memory: the last things put there, by number; older ones make room."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from typing import Generic, TypeVar

from .refusals import gone

T = TypeVar("T")


class Shelf(Generic[T]):
    """Any thread may put and look; what was looked at last goes last."""

    def __init__(self, what: str, *, most: int, most_bytes: int | None = None) -> None:
        """``what`` names a thing in refusals; ``most_bytes`` bounds the sum of the sizes told."""
        self._what = what
        self._most = most
        self._most_bytes = most_bytes
        self._held: OrderedDict[str, tuple[T, int]] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, thing: T, *, size_bytes: int = 0, number: str | None = None) -> str:
        """Keep it; its number."""
        number = secrets.token_urlsafe(9) if number is None else number
        with self._lock:
            self._held[number] = (thing, size_bytes)
            self._held.move_to_end(number)
            while len(self._held) > 1 and self._is_over():
                self._held.popitem(last=False)
        return number

    def get(self, number: str) -> T:
        """The thing of that number.

        Raises:
            SetupError: code ``setup-gone``.
        """
        with self._lock:
            if number not in self._held:
                raise gone(self._what, number)
            self._held.move_to_end(number)
            return self._held[number][0]

    def __contains__(self, number: str) -> bool:
        with self._lock:
            return number in self._held

    def __len__(self) -> int:
        with self._lock:
            return len(self._held)

    def _is_over(self) -> bool:
        size = sum(size_bytes for _, size_bytes in self._held.values())
        too_large = self._most_bytes is not None and size > self._most_bytes
        return len(self._held) > self._most or too_large
