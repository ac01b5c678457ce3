"""Batches spread over workers by Dask: a cluster of this machine's own, or one that is there.

A worker that dies has its batches read by others; a batch whose workers die again and again is
read still by still, and a still that kills, alone on all workers, is told. A scheduler that goes
is an error here: whoever asks again begins with what is not kept yet.
"""

from __future__ import annotations

import contextlib
import logging
import os
import tempfile
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from calibration.errors import RestmarkError

from .errors import RereadError, no_extra
from .keeping import Batch
from .values import BatchRead, Refused
from .work import read_batch

AHEAD = 2
"""Batches a worker that are on their way: one is read while the next waits."""
_COUNT_S = 5.0
_QUICK = {
    # a picture's memory given back after each step is asked for again in the next
    "distributed.nanny.pre-spawn-environ": {"OMP_NUM_THREADS": "1"},
    "distributed.worker.profile.enabled": False,
}
_KILLS = "killed-worker"


class SchedulerLostError(RereadError):
    """The scheduler does not answer any more, or never did."""

    code = "scheduler-lost"


class Pool:
    """Workers behind a scheduler."""

    def __init__(self, client: Any, address: str) -> None:
        self.client, self.address = client, address

    @property
    def workers(self) -> int:
        """Threads that read, all workers together."""
        return int(sum(self.client.nthreads().values()))

    def results(self, batches: Iterator[Batch]) -> Iterator[tuple[Batch, BatchRead]]:
        """What came of each batch, as they come; never many more asked for than are at work.

        Raises:
            SchedulerLostError: it went away; batches not given out here are to be asked again.
            RereadError: a worker is of another release.
        """
        from distributed import as_completed

        again: deque[Batch] = deque()
        # what waited at a worker that died is suspected with what killed it: each is tried alone
        suspects: deque[Batch] = deque()
        at_work: dict[str, Batch] = {}
        queue = as_completed(loop=self.client.loop)
        most, counted = AHEAD, float("-inf")
        with self._lost():
            while True:
                if time.monotonic() - counted > _COUNT_S:
                    most, counted = max(AHEAD * self.workers, AHEAD), time.monotonic()
                while len(at_work) < most:
                    batch = again.popleft() if again else next(batches, None)
                    if batch is None:
                        break
                    self._ask(batch, batch.job.key, at_work, queue)
                alone = not at_work
                if alone:
                    if not suspects:
                        return
                    batch = suspects.popleft()
                    self._ask(batch, f"{batch.job.key}-alone", at_work, queue)
                future = next(queue)
                batch = at_work.pop(future.key)
                read = self._read(future)
                if read is not None:
                    yield batch, read
                elif alone:
                    yield batch, _killed(batch)
                elif batch.stills > 1:
                    again.extend(batch.parts())
                else:
                    suspects.append(batch)

    def _ask(self, batch: Batch, key: str, at_work: dict[str, Batch], queue: Any) -> None:
        future = self.client.submit(read_batch, batch.job, key=key)
        at_work[future.key] = batch
        queue.add(future)

    def _read(self, future: Any) -> BatchRead | None:
        """What a batch gave; None where workers died over it."""
        from distributed import KilledWorker

        if future.status in ("cancelled", "lost"):
            raise self._gone()
        wrong = future.exception()
        if wrong is None:
            read: BatchRead = future.result()
            return read
        if isinstance(wrong, KilledWorker):
            return None
        if isinstance(wrong, RestmarkError):
            raise wrong
        raise RereadError(
            f"worker: {type(wrong).__name__}: {' '.join(str(wrong).split())[:300]}; allowed: "
            "workers with the same release of Restmark and its packages as here, with the extra "
            "`scale`. Install it there.",
            code="worker-failed",
        )

    @contextmanager
    def _lost(self) -> Iterator[None]:
        from distributed.comm import CommClosedError

        try:
            yield
        except RereadError:
            raise
        except (OSError, CommClosedError, TimeoutError) as wrong:
            raise self._gone() from wrong
        except RuntimeError as wrong:
            if self.client.status == "running":
                raise
            raise self._gone() from wrong

    def _gone(self) -> SchedulerLostError:
        return _lost_at(self.address)


@contextmanager
def own_pool(workers: int | None) -> Iterator[Pool]:
    """A cluster of processes on this machine, a core each, for as long as the block lasts."""
    distributed = _distributed()
    import dask

    count = workers or _cores()
    with tempfile.TemporaryDirectory(prefix="restmark-workers-") as folder:
        with dask.config.set(_QUICK):
            cluster = distributed.LocalCluster(
                n_workers=count,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                dashboard_address=None,
                # what a worker needs does not grow with the archive
                memory_limit=0,
                local_directory=folder,
                silence_logs=logging.CRITICAL,
            )
        try:
            with distributed.Client(cluster, set_as_default=False) as client:
                yield Pool(client, cluster.scheduler_address)
        finally:
            with contextlib.suppress(TimeoutError, OSError):
                cluster.close()


@contextmanager
def joined_pool(address: str, *, timeout_s: float = 10.0) -> Iterator[Pool]:
    """The workers of a scheduler that runs already."""
    distributed = _distributed()
    try:
        client = distributed.Client(
            address, timeout=timeout_s, set_as_default=False, name="restmark"
        )
    except (OSError, TimeoutError, ValueError, TypeError) as wrong:
        raise _lost_at(address) from wrong
    try:
        yield Pool(client, address)
    finally:
        with contextlib.suppress(Exception):  # a scheduler that is gone says no goodbye
            client.close(timeout=5)


def _killed(batch: Batch) -> BatchRead:
    (still,) = batch.job.stills
    detail = f"still {still.id}: every worker that read it, and it alone, died; look at it by hand"
    return BatchRead(
        refused=(Refused(still_id=still.id, code=_KILLS, detail=detail, lasting=True),)
    )


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise no_extra("distributed") from None
    # what goes wrong is told by our own errors, in one line
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    return distributed


def _lost_at(address: str) -> SchedulerLostError:
    return SchedulerLostError(
        f"--scheduler: {address} does not answer; allowed: the address that `dask scheduler` "
        "printed, tcp://HOST:8786 for instance. Start it, then the same command again: what was "
        "kept is not read again."
    )


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)
