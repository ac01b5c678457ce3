"""How often a code may be tried: so seldom that guessing is hopeless."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

WINDOW_S = 60.0
PER_SOURCE = 5
IN_ALL = 30


class Tries:
    """Tries of the last minute, by where they came from; a good one is given back."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._tries: deque[tuple[float, str]] = deque()

    def take(self, source: str) -> float:
        """Count a try; 0 where it may be made, else the seconds until the next may."""
        with self._lock:
            now_s = self._clock()
            while self._tries and self._tries[0][0] <= now_s - WINDOW_S:
                self._tries.popleft()
            own = [at_s for at_s, whose in self._tries if whose == source]
            if len(own) >= PER_SOURCE:
                return own[0] + WINDOW_S - now_s
            if len(self._tries) >= IN_ALL:
                return self._tries[0][0] + WINDOW_S - now_s
            self._tries.append((now_s, source))
            return 0.0

    def give_back(self, source: str) -> None:
        """The last try from there was a good one."""
        with self._lock:
            for number in range(len(self._tries) - 1, -1, -1):
                if self._tries[number][1] == source:
                    del self._tries[number]
                    return
