"""Who reads next: fair between tables, and each at the process that knows its table.

A sequence of stills has a home, the seat where it was read last: its maps and its last still are
kept there. A seat that is free takes, of what is at home there or nowhere, the table that was
served longest ago. What waits for a busy home goes to a free seat after a moment; that seat is its
home then. So no table waits behind another's
stills.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from typing import Any

PATIENCE_S = 0.25
"""So long a still waits for the process that knows its table while another is free: about what the
maps take that the other has to make."""


class ClosedError(Exception):
    """No seat is given any more."""


@dataclass(eq=False, slots=True)
class Seat:
    """A place for a process."""

    process: Any = None
    known: set[str] = field(default_factory=set)
    """Names of packed values that the process has."""
    is_ready: bool = False
    is_taken: bool = False
    is_slow: bool = False
    """Its reading takes long: another seat stands in for it."""

    @property
    def is_free(self) -> bool:
        """It can be taken."""
        return self.is_ready and not self.is_taken


@dataclass(eq=False, slots=True, kw_only=True)
class _Waiting:
    table: int
    sequence: str
    only: Seat | None
    since_s: float
    seat: Seat | None = None


class Seats:
    """Gives seats; any thread may ask."""

    def __init__(self, *, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self._changed = threading.Condition()
        self._seats: list[Seat] = []
        self._waiting: list[_Waiting] = []
        self._home: dict[str, Seat] = {}
        self._served: dict[int, int] = {}
        """By table: the number of its last turn."""
        self._turns = 0
        self._closed = False

    # -- the seats themselves --------------------------------------------------------------

    def all(self) -> tuple[Seat, ...]:
        """Every seat."""
        with self._changed:
            return tuple(self._seats)

    def add(self) -> Seat:
        """Another seat; it can be taken once it is ready."""
        seat = Seat()
        with self._changed:
            self._seats.append(seat)
        return seat

    def ready(self, seat: Seat) -> None:
        """There is a process at a seat."""
        with self._changed:
            seat.is_ready = True
            self._give()

    def empty(self, seat: Seat) -> None:
        """There is none any more, and nothing is at home there."""
        with self._changed:
            seat.is_ready = seat.is_taken = seat.is_slow = False
            seat.known.clear()
            self._forget(seat)
            self._give()

    def slow(self, seat: Seat) -> None:
        """What is read there takes long: nothing else waits for it."""
        with self._changed:
            seat.is_slow = True
            self._forget(seat)
            self._give()

    def remove(self, seat: Seat) -> None:
        """One seat less."""
        with self._changed:
            if seat in self._seats:
                self._seats.remove(seat)
            self._forget(seat)
            for each in self._waiting:
                if each.only is seat:
                    each.only = None
            self._give()

    def working(self) -> int:
        """Seats that count: all but those whose reading takes long."""
        with self._changed:
            return sum(not seat.is_slow for seat in self._seats)

    def close(self) -> None:
        """Send everybody away."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    # -- who sits there --------------------------------------------------------------------

    def take(self, table: int, sequence: str, *, wait_s: float, only: Seat | None = None) -> Seat:
        """A seat, ``only`` that one where it is given.

        Raises:
            TimeoutError: none was free for ``wait_s``.
            ClosedError: none will be.
        """
        now_s = time.monotonic()
        mine = _Waiting(table=table, sequence=sequence, only=only, since_s=now_s)
        with self._changed:
            self._waiting.append(mine)
            self._give()
            while mine.seat is None:
                left_s = mine.since_s + wait_s - time.monotonic()
                if self._closed or left_s <= 0:
                    self._waiting.remove(mine)
                    raise ClosedError if self._closed else TimeoutError
                self._changed.wait(min(left_s, self._patience_s))
                self._give()
        return mine.seat

    def give_back(self, seat: Seat) -> None:
        """Somebody else may have it."""
        with self._changed:
            seat.is_taken = False
            self._give()

    # -- steps, all of them under the lock -------------------------------------------------

    def _give(self) -> None:
        """Give every free seat to whoever should have it."""
        given = False
        while (found := self._next()) is not None:
            waiting, seat = found
            self._waiting.remove(waiting)
            waiting.seat, seat.is_taken = seat, True
            self._home[waiting.sequence] = seat
            self._turns += 1
            self._served[waiting.table] = self._turns
            given = True
        if given:
            self._changed.notify_all()

    def _next(self) -> tuple[_Waiting, Seat] | None:
        """Who is to sit where next; None where nobody can."""
        found = [
            ((rank, self._served.get(each.table, 0), each.since_s, self._at_home(seat)), each, seat)
            for seat in self._seats
            if seat.is_free
            for each in self._waiting
            if (rank := self._rank(each, seat)) is not None
        ]
        return min(found, key=lambda each: each[0])[1:] if found else None

    def _rank(self, each: _Waiting, seat: Seat) -> int | None:
        """How soon somebody should have that seat, 0 first; None: not now."""
        home = each.only or self._home.get(each.sequence)
        if home is None or home is seat:
            return 1
        if each.only is not None or time.monotonic() - each.since_s < self._patience_s:
            return None
        return 0 if self._wait_for(home) >= self._wait_for(seat) + 2 else 2

    def _wait_for(self, seat: Seat) -> int:
        return sum(self._home.get(each.sequence) is seat for each in self._waiting)

    def _at_home(self, seat: Seat) -> int:
        return sum(home is seat for home in self._home.values())

    def _forget(self, seat: Seat) -> None:
        for sequence in [name for name, home in self._home.items() if home is seat]:
            del self._home[sequence]
