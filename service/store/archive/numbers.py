"""Numbers of a whole archive's rows, and which rows are here already, in little memory."""

from __future__ import annotations

import hashlib
import os
from array import array
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np

_KEY_BYTES = 16


class Numbers:
    """A number here for each number there, which ascend: held as runs that ascend together.

    Rows that are inserted one after the other are one run, however many they are.
    """

    def __init__(self) -> None:
        self._begin, self._end, self._shift = array("q"), array("q"), array("q")

    def __bool__(self) -> bool:
        return bool(self._begin)

    def __contains__(self, there: int) -> bool:
        return self.get(there) is not None

    def __getitem__(self, there: int) -> int:
        here = self.get(there)
        if here is None:
            raise KeyError(there)
        return here

    @property
    def last(self) -> int:
        """The largest number there; 0 before the first."""
        return self._end[-1] if self._end else 0

    def add(self, there: int, here: int) -> None:
        """One more, above all before it.

        Raises:
            ValueError: it is not.
        """
        if there <= self.last:
            raise ValueError(f"got {there} after {self.last}; numbers ascend")
        if self._end and there == self._end[-1] + 1 and here == there + self._shift[-1]:
            self._end[-1] = there
            return
        self._begin.append(there)
        self._end.append(there)
        self._shift.append(here - there)

    def get(self, there: int) -> int | None:
        """The number here; None where there is none."""
        place = bisect_right(self._begin, there) - 1
        if place < 0 or there > self._end[place]:
            return None
        return there + self._shift[place]

    def items(self) -> Iterator[tuple[int, int]]:
        """Every number there with its number here."""
        for begin, end, shift in zip(self._begin, self._end, self._shift, strict=True):
            for there in range(begin, end + 1):
                yield there, there + shift


class Known:
    """Rows that are here, by what they are known by; each is met once, in their order.

    Held as 25 bytes a row: a keyed hash, so that no archive can be made to meet a row by chance.
    """

    def __init__(self, rows: Iterable[tuple[int, tuple[Any, ...]]]) -> None:
        """``rows`` are numbers with keys, in the order of their numbers."""
        self._secret = os.urandom(_KEY_BYTES)
        high, low, numbers = array("Q"), array("Q"), array("q")
        for number, key in rows:
            digest = self._digest(key)
            high.append(digest[0])
            low.append(digest[1])
            numbers.append(number)
        # stable: alike rows stay in their order
        order = np.argsort(np.array(high, np.uint64), kind="stable")
        self._high, self._low = (np.array(each, np.uint64)[order] for each in (high, low))
        self._numbers = np.array(numbers, np.int64)[order]
        self._met = bytearray(len(numbers))

    def __len__(self) -> int:
        return len(self._numbers)

    def meet(self, key: tuple[Any, ...]) -> int | None:
        """The first row of that key that was not met yet; None where there is none."""
        if not len(self):
            return None
        high, low = self._digest(key)
        place = int(np.searchsorted(self._high, np.uint64(high)))
        while place < len(self) and self._high[place] == high:
            if self._low[place] == low and not self._met[place]:
                self._met[place] = 1
                return int(self._numbers[place])
            place += 1
        return None

    def _digest(self, key: tuple[Any, ...]) -> tuple[int, int]:
        plain = [
            each.astimezone(UTC).isoformat() if isinstance(each, datetime) else each for each in key
        ]
        digest = hashlib.blake2b(repr(plain).encode(), digest_size=16, key=self._secret).digest()
        return int.from_bytes(digest[:8], "big"), int.from_bytes(digest[8:], "big")
