"""Stills posted at a steady rate, each at its time, whether or not earlier ones were answered."""

from __future__ import annotations

import json
import queue
import threading
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from typing import Any

import numpy as np

SENDERS = 16
"""So many stills may wait for their answers at once."""
LIMIT_S = 60.0
_GOOD = (200, 201)
_HOST = "127.0.0.1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of one still; seconds from when it was due."""

    due_s: float
    done_s: float
    status: int
    """0 where the connection failed."""
    took_ms: float | None
    """What the service said that the reading took."""

    @property
    def waited_s(self) -> float:
        """From when it was due to its answer, its wait for a sender included."""
        return self.done_s - self.due_s


@dataclass(slots=True)
class Post:
    """Posts ``count`` of ``stills`` in turn, ``rate`` a second, to the service on ``port``."""

    port: int
    stills: Sequence[bytes]
    rate: float
    count: int
    answers: list[Answer] = field(default_factory=list)

    def run(self) -> float:
        """Post them all; seconds to the last answer, or to when one more would have been due."""
        waiting: queue.Queue[tuple[int, float] | None] = queue.Queue()
        began = time.perf_counter()
        senders = [
            threading.Thread(target=self._send, args=(waiting, began), daemon=True)
            for _ in range(SENDERS)
        ]
        for sender in senders:
            sender.start()
        for number in range(self.count):
            due_s = number / self.rate
            time.sleep(max(began + due_s - time.perf_counter(), 0.0))
            waiting.put((number, due_s))
        for _ in senders:
            waiting.put(None)
        for sender in senders:
            sender.join()
        return max(self.count / self.rate, *(answer.done_s for answer in self.answers))

    def _send(self, waiting: queue.Queue[tuple[int, float] | None], began: float) -> None:
        connection = HTTPConnection(_HOST, self.port, timeout=LIMIT_S)
        while (turn := waiting.get()) is not None:
            number, due_s = turn
            status, took_ms = 0, None
            try:
                status, took_ms = _post(connection, number, self._still(number))
            except (OSError, HTTPException):
                connection.close()
            done_s = time.perf_counter() - began
            self.answers.append(Answer(due_s=due_s, done_s=done_s, status=status, took_ms=took_ms))
        connection.close()

    def _still(self, number: int) -> bytes:
        """Another picture's bytes each time: the same still twice counts once."""
        return marked(self.stills[number % len(self.stills)], str(number))

    def figures(self, wall_s: float) -> dict[str, Any]:
        """Rate of good answers, and percentiles of their waits."""
        good = [answer for answer in self.answers if answer.status in _GOOD]
        waits_ms = np.array([answer.waited_s for answer in good]) * 1e3
        took = [answer.took_ms for answer in good if answer.took_ms is not None]
        percentiles = (50, 90, 99, 100)
        found = np.percentile(waits_ms, percentiles) if len(good) else [None] * len(percentiles)
        return {
            "stills": len(self.answers),
            "statuses": dict(sorted(Counter(str(a.status) for a in self.answers).items())),
            "seconds": wall_s,
            "rate": len(good) / wall_s if wall_s else 0.0,
            "wait_ms": {
                f"p{p}": None if v is None else float(v)
                for p, v in zip(percentiles, found, strict=True)
            },
            "reading_ms": float(np.median(took)) if took else None,
        }


def marked(jpeg: bytes, text: str) -> bytes:
    """The same picture with a comment in its head, which makes it another still."""
    comment = text.encode("ascii")
    return jpeg[:2] + b"\xff\xfe" + (len(comment) + 2).to_bytes(2, "big") + comment + jpeg[2:]


def _post(connection: HTTPConnection, number: int, data: bytes) -> tuple[int, float | None]:
    where = f"/api/v1/stills?name=load-{number:06d}.jpg"
    connection.request("POST", where, data, {"Content-Type": "image/jpeg"})
    answer = connection.getresponse()
    body = answer.read()
    took_ms = None
    with suppress(ValueError, KeyError, TypeError):
        took_ms = float(json.loads(body)["reading"]["took_ms"])
    return answer.status, took_ms
