"""One reader process as the service sees it: started, asked, ended."""

from __future__ import annotations

import contextlib
import multiprocessing
from multiprocessing.connection import wait
from typing import Protocol

from .job import READY, Answer, Job

ENDS_S = 5.0
"""A process that is asked to end does so within this, else it is killed."""


class DiedError(Exception):
    """The process ended before it answered."""


class Process(Protocol):
    """A process that reads."""

    @property
    def pid(self) -> int | None:
        """Its number."""

    def ready(self, wait_s: float) -> bool:
        """Whether it can be asked within that time; DiedError: it never can."""

    def ask(self, job: Job) -> None:
        """Have a job done; DiedError."""

    def answer(self, wait_s: float) -> Answer | None:
        """What came of it, None: nothing within that time; DiedError."""

    def kill(self) -> None:
        """End it at once."""

    def end(self) -> None:
        """End it."""


class ReaderProcess:
    """A process of this program's own, started afresh, so that it shares nothing."""

    def __init__(self) -> None:
        from .working import read_for

        context = multiprocessing.get_context("spawn")
        self._connection, theirs = context.Pipe()
        self._process = context.Process(
            target=read_for, args=(theirs,), name="restmark-reader", daemon=True
        )
        self._process.start()
        theirs.close()

    @property
    def pid(self) -> int | None:
        """Its number."""
        return self._process.pid

    def ready(self, wait_s: float) -> bool:
        """Whether its networks are loaded within that time; DiedError where it ended instead."""
        return self._received(wait_s) == READY

    def ask(self, job: Job) -> None:
        """Have a job done; DiedError where there is nobody to do it."""
        try:
            self._connection.send(job)
        except OSError:
            raise DiedError from None

    def answer(self, wait_s: float) -> Answer | None:
        """What came of it; None where nothing did within that time, DiedError where it died."""
        found = self._received(wait_s)
        assert not isinstance(found, bytes)
        return found

    def kill(self) -> None:
        """End it at once, whatever it is at."""
        self._process.kill()
        self._process.join(ENDS_S)
        self._connection.close()

    def end(self) -> None:
        """End it when it has nothing to do; kill it where it does not."""
        with contextlib.suppress(OSError):
            self._connection.send(None)
        self._process.join(ENDS_S)
        self.kill()

    def _received(self, wait_s: float) -> Answer | bytes | None:
        there = wait([self._connection, self._process.sentinel], timeout=wait_s)
        if self._connection in there or self._connection.poll():
            try:
                found: Answer | bytes = self._connection.recv()
            except (EOFError, OSError):
                raise DiedError from None
            return found
        if there:
            raise DiedError
        return None
