"""Work that takes longer than a blink: one thread, what it is at, and what came of it."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Generic, Protocol, TypeVar

from calibration.errors import RestmarkError

from .refusals import SetupError, busy, unfinished
from .shelf import Shelf

_LOG = logging.getLogger(__name__)
MOST_WAITING = 8
MOST_KEPT = 24
Tell = Callable[[str, float], None]
"""Takes what the work is at, in words, and which part of it is done, 0 … 1."""


class Result(Protocol):
    """What work comes to."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""


R = TypeVar("R", bound=Result)


class Task(Generic[R]):
    """One piece of work: waiting or working, then done or refused."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.number = ""
        self._lock = threading.Lock()
        self._state, self._step, self._part = "waiting", "Waiting for its turn", 0.0
        self._result: R | None = None
        self._refusal: RestmarkError | None = None
        self._beside: Mapping[str, Any] = {}

    def tell(self, step: str, part: float) -> None:
        """What it is at."""
        with self._lock:
            self._state, self._step, self._part = "working", step, part

    def beside(self, seen: Mapping[str, Any]) -> None:
        """What is worth seeing even where the work is refused."""
        with self._lock:
            self._beside = dict(seen)

    def run(self, work: Callable[[Task[R]], R]) -> None:
        """Do it; a refusal is kept, a fault is logged and kept as one."""
        try:
            result = work(self)
        except RestmarkError as refusal:
            self._end("refused", refusal=refusal)
        except Exception:
            _LOG.exception("set-up: %s failed", self.kind)
            fault = SetupError(
                "set-up: the program failed at this; its log says where. Try again, and report it "
                "if it stays.",
                code="internal",
            )
            self._end("refused", refusal=fault)
        else:
            self._end("done", result=result)

    @property
    def result(self) -> R:
        """What came of it.

        Raises:
            SetupError: code ``setup-unfinished``: nothing yet, or it was refused.
        """
        with self._lock:
            if self._result is None:
                raise unfinished(self.number)
            return self._result

    @property
    def refusal(self) -> RestmarkError | None:
        """Why nothing came of it; None where something did or may."""
        with self._lock:
            return self._refusal

    def to_dict(self) -> dict[str, Any]:
        """JSON object: where it stands, and its result."""
        with self._lock:
            refusal, result = self._refusal, self._result
            out: dict[str, Any] = {
                "id": self.number,
                "kind": self.kind,
                "state": self._state,
                "step": self._step,
                "part": self._part,
                "seen": dict(self._beside) or None,
            }
        out["refusal"] = refusal and {
            "code": refusal.code,
            "detail": refusal.detail,
            "fields": dict(refusal.fields),
        }
        out["result"] = None if result is None else result.to_dict()
        return out

    def _end(
        self, state: str, *, result: R | None = None, refusal: RestmarkError | None = None
    ) -> None:
        with self._lock:
            self._state, self._step, self._part = state, "", 1.0
            self._result, self._refusal = result, refusal


class Workshop:
    """Runs tasks one after the other, and keeps the last ones with their results."""

    def __init__(self) -> None:
        self._tasks: Shelf[Task[Any]] = Shelf("set-up", most=MOST_KEPT)
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="restmark-setup")
        self._lock = threading.Lock()
        self._waiting = 0

    def begin(self, kind: str, work: Callable[[Task[R]], R]) -> Task[R]:
        """Have the work done when its turn comes.

        Raises:
            SetupError: code ``setup-busy``: too much waits already.
        """
        with self._lock:
            if self._waiting >= MOST_WAITING:
                raise busy(self._waiting)
            self._waiting += 1
        task: Task[R] = Task(kind)
        task.number = self._tasks.put(task)
        self._thread.submit(self._run, task, work)
        return task

    def task(self, number: str) -> Task[Any]:
        """The task of that number; SetupError where it is not kept any more."""
        return self._tasks.get(number)

    def close(self) -> None:
        """Drop what waits, finish what is under way."""
        self._thread.shutdown(wait=True, cancel_futures=True)

    def _run(self, task: Task[R], work: Callable[[Task[R]], R]) -> None:
        try:
            task.run(work)
        finally:
            with self._lock:
                self._waiting -= 1
