"""The pool: reader processes, each replaced where it dies, and never waited for too long."""

from __future__ import annotations

import hashlib
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace

from .job import Answer, Failed, Job, Missing, Packed, Read, Refused
from .process import DiedError, Process, ReaderProcess
from .refusals import no_reader, reader_died, reading_hung
from .seats import ClosedError, Seat, Seats

_LOG = logging.getLogger(__name__)
SLOW_S = 5.0
"""From then on a reading holds nobody else up: another process stands in for its own."""
STAND_INS = 2
"""At least so many may stand in at once, and as many as there are processes: no more, so that a
machine that is slow as a whole is not slowed further."""
LIMIT_S = 30.0
"""A reading that takes longer is given up, and its process ended."""
FREE_S = 60.0
"""A still waits so long for a process."""
START_S, PAUSE_S, LONGEST_PAUSE_S = 120.0, 0.5, 30.0
"""A process is ready within that time; one that does not start is tried again after a pause."""
_LOOK_S = 0.5
_REMEMBERED = 100


class ReaderPool:
    """Reads stills in ``count`` processes; any thread may ask, and waits for its answer."""

    def __init__(
        self,
        count: int,
        *,
        started: Callable[[], Process] = ReaderProcess,
        slow_s: float = SLOW_S,
        limit_s: float = LIMIT_S,
        free_s: float = FREE_S,
    ) -> None:
        """``started`` starts a process."""
        self.count = count
        self._started = started
        self._slow_s, self._limit_s, self._free_s = slow_s, limit_s, free_s
        self._seats = Seats()
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._is_on = False
        self._starters: list[threading.Thread] = []
        self._deadly: OrderedDict[str, None] = OrderedDict()
        """Hashes of stills over which processes ended."""

    def start(self) -> None:
        """Start the processes, unless they are; a still waits for the first that is ready."""
        with self._lock:
            if self._is_on or self._closed.is_set():
                return
            self._is_on = True
        for _ in range(self.count):
            self._start_at(self._seats.add())

    def pids(self) -> tuple[int, ...]:
        """Numbers of the processes that can be asked."""
        return tuple(
            pid
            for seat in self._seats.all()
            if seat.is_ready and (pid := seat.process.pid) is not None
        )

    def close(self) -> None:
        """End the processes."""
        self._closed.set()
        self._seats.close()
        with self._lock:
            starters = list(self._starters)
        for starter in starters:
            starter.join()
        for seat in self._seats.all():
            if seat.is_ready:
                seat.process.end()
                self._seats.remove(seat)

    def read(self, table_id: int, job: Job, values: Mapping[str, Packed]) -> Read:
        """What a process says of ``job``; ``values`` are those that the job names.

        Raises:
            ReadingError: ``reader-died``, ``reading-hung`` or ``no-reader``.
            RestmarkError: why the still cannot be read.
        """
        self.start()
        sha256 = hashlib.sha256(job.data).hexdigest()
        if sha256 in self._deadly:
            raise reader_died(job.name)
        seat: Seat | None = None
        # a process may end for reasons of its own: the next one shows whether it is the still
        for _ in range(2):
            seat = self._seat(table_id, job.sequence, only=seat)
            try:
                answer = self._asked(seat, job, values)
            except DiedError:
                _LOG.warning("a reader process ended while it read %s", job.name)
                seat = self._gone(seat)
                continue
            except TimeoutError:
                _LOG.warning("a reading of %s was given up", job.name)
                self._gone(seat)
                self._remember(sha256)
                raise reading_hung(job.name, self._limit_s) from None
            self._done(seat)
            if isinstance(answer, Refused):
                raise answer.refusal
            if isinstance(answer, Failed):
                raise RuntimeError(f"a reader process failed:\n{answer.told}")
            assert isinstance(answer, Read)
            return answer
        self._remember(sha256)
        raise reader_died(job.name)

    # -- one reading -----------------------------------------------------------------------

    def _seat(self, table_id: int, sequence: str, *, only: Seat | None) -> Seat:
        try:
            return self._seats.take(table_id, sequence, wait_s=self._free_s, only=only)
        except (TimeoutError, ClosedError):
            raise no_reader(self._free_s) from None

    def _asked(self, seat: Seat, job: Job, values: Mapping[str, Packed]) -> Answer:
        """What a process answers; DiedError, or TimeoutError where it does not."""
        new = {name: value.data for name, value in values.items() if name not in seat.known}
        answer = self._answered(seat, replace(job, values=new))
        if isinstance(answer, Missing):
            new = {name: value.data for name, value in values.items()}
            answer = self._answered(seat, replace(job, values=new))
        seat.known.update(values)
        return answer

    def _answered(self, seat: Seat, job: Job) -> Answer:
        process: Process = seat.process
        process.ask(job)
        answer = process.answer(self._slow_s)
        if answer is None:
            self._stand_in_for(seat)
            answer = process.answer(self._limit_s - self._slow_s)
        if answer is None:
            raise TimeoutError
        return answer

    def _remember(self, sha256: str) -> None:
        with self._lock:
            self._deadly[sha256] = None
            if len(self._deadly) > _REMEMBERED:
                self._deadly.popitem(last=False)

    # -- processes that come and go --------------------------------------------------------

    def _stand_in_for(self, seat: Seat) -> None:
        """Another process takes up what would wait for a slow one."""
        with self._lock:
            self._seats.slow(seat)
            room = len(self._seats.all()) < self.count + max(self.count, STAND_INS)
            wanted = self._seats.working() < self.count
            added = self._seats.add() if wanted and room else None
        if added is not None:
            self._start_at(added)

    def _done(self, seat: Seat) -> None:
        """A seat is free again, or one too many where another stands in for it by now."""
        with self._lock:
            surplus = seat.is_slow and self._seats.working() >= self.count
            if surplus:
                self._seats.remove(seat)
            else:
                seat.is_slow = False
        if surplus:
            seat.process.end()
        else:
            self._seats.give_back(seat)

    def _gone(self, seat: Seat) -> Seat | None:
        """End what is at a seat; the seat that another process comes to, None where one has."""
        seat.process.kill()
        with self._lock:
            surplus = seat.is_slow and self._seats.working() >= self.count
            if surplus:
                self._seats.remove(seat)
            else:
                self._seats.empty(seat)
        if surplus:
            return None
        self._start_at(seat)
        return seat

    def _start_at(self, seat: Seat) -> None:
        starter = threading.Thread(
            target=self._bring, args=(seat,), name="restmark-reader-start", daemon=True
        )
        with self._lock:
            self._starters = [each for each in self._starters if each.is_alive()]
            self._starters.append(starter)
        starter.start()

    def _bring(self, seat: Seat) -> None:
        """Start processes at a seat until one is ready."""
        pause_s = PAUSE_S
        while not self._closed.is_set():
            try:
                process = self._started()
            except OSError as wrong:
                _LOG.error("a reader process could not be started: %s", wrong)
            else:
                if self._is_ready(process):
                    seat.process = process
                    self._seats.ready(seat)
                    return
                process.kill()
            if not self._closed.wait(pause_s):
                _LOG.error("a reader process did not start; it is tried again")
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    def _is_ready(self, process: Process) -> bool:
        with suppress(DiedError):
            for _ in range(round(START_S / _LOOK_S)):
                if process.ready(_LOOK_S):
                    return True
                if self._closed.is_set():
                    break
        return False
