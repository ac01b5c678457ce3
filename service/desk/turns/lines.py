"""Turns: what is asked at one table is done in the order in which it came, tables side by side."""

from __future__ import annotations

import threading
from collections import defaultdict, deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from functools import partial
from typing import Any, TypeVar

T = TypeVar("T")
MOST_AT_ONCE = 64
"""Tables at which something is done at the same moment; a thread each, made when it is needed."""


class Turns:
    """A line for every table, and one for what belongs to no table. Any thread may ask.

    The first of each line is worked on, and no line has two worked on: where threads are few,
    lines come round in turn.
    """

    def __init__(self, *, most: int = MOST_AT_ONCE) -> None:
        """``most`` lines are worked on at once."""
        self._threads = ThreadPoolExecutor(max_workers=most, thread_name_prefix="restmark-desk")
        self._lock = threading.Lock()
        self._lines: dict[int | None, deque[tuple[Future[Any], Callable[[], Any]]]]
        self._lines = defaultdict(deque)
        """What waits, and first in each line what is worked on."""
        self._closed = False

    def submit(self, line: int | None, work: Callable[..., T], *arguments: object) -> Future[T]:
        """``work(*arguments)`` in the line's turn.

        Raises:
            RuntimeError: it is closed.
        """
        turn: Future[T] = Future()
        with self._lock:
            if self._closed:
                raise RuntimeError("turns are given no more")
            waiting = self._lines[line]
            waiting.append((turn, partial(work, *arguments)))
            if len(waiting) == 1:
                self._threads.submit(self._next, line)
        return turn

    def waiting(self, line: int | None) -> int:
        """How many of that line are not done yet."""
        with self._lock:
            return len(self._lines.get(line, ()))

    def close(self) -> None:
        """Finish what was asked for, and take nothing more."""
        with self._lock:
            self._closed = True
            left = [turn for waiting in self._lines.values() for turn, _ in waiting]
        wait(left)
        self._threads.shutdown(wait=True)

    def _next(self, line: int | None) -> None:
        """Do the first of a line, then send the line to the end of the others."""
        with self._lock:
            turn, work = self._lines[line][0]
        if turn.set_running_or_notify_cancel():
            try:
                turn.set_result(work())
            except BaseException as wrong:  # whoever waits for it is told
                turn.set_exception(wrong)
        with self._lock:
            waiting = self._lines[line]
            waiting.popleft()
            if waiting:
                self._threads.submit(self._next, line)
            else:
                del self._lines[line]
