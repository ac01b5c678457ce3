"""Has the store looked over once a day, as long as it is served."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

EVERY_S = 24 * 3600.0
AWAKE_S = 60.0


class Keeper:
    """A thread of its own that does ``work`` once a day, by whichever clock a day is over first.

    A machine that sleeps stops the one clock, a clock that is put right jumps the other.
    """

    def __init__(
        self, work: Callable[[], object], *, every_s: float = EVERY_S, awake_s: float = AWAKE_S
    ) -> None:
        self._work = work
        self._every_s, self._awake_s = every_s, awake_s
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="restmark-keeper", daemon=True)

    def start(self) -> None:
        """Begin to count; what it does first is a day away."""
        self._thread.start()

    def close(self) -> None:
        """No more; what it does just now is waited for a while."""
        self._over.set()
        if self._thread.is_alive():
            self._thread.join(10.0)

    def _run(self) -> None:
        last = self._now()
        while not self._over.wait(self._awake_s):
            now = self._now()
            passed = [later - earlier for later, earlier in zip(now, last, strict=True)]
            if max(passed) >= self._every_s or min(passed) < 0:
                self._work()
                last = self._now()

    def _now(self) -> tuple[float, float]:
        return time.monotonic(), time.time()
