"""Work of a bench spread over processes, one core each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from multiprocessing.queues import Queue
from typing import TypeVar

import cv2

from service.demo.trial import Track

Job = TypeVar("Job")
Done = TypeVar("Done")
MOST_WORKERS = 2


def spread(
    work: Callable[[Job], Done],
    jobs: Sequence[Job],
    *,
    workers: int | None,
    track: Track,
    words: str,
) -> Iterator[Done]:
    """Results in the order of the jobs; two processes unless told, each with one core.

    ``work`` and what it takes and gives must be picklable where there is more than one.
    """
    cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []
    count = min(workers or min(MOST_WORKERS, os.cpu_count() or 1), len(jobs))
    if count <= 1:
        yield from (work(job) for job in track(jobs, words))
        return
    # started afresh: OpenCV's threads do not survive a fork
    context = get_context("spawn")
    queue: Queue[int] = context.Queue()
    for number in range(count):
        queue.put(cores[number % len(cores)] if cores else -1)
    with ProcessPoolExecutor(
        count, mp_context=context, initializer=_one_core, initargs=(queue,)
    ) as executor:
        results = executor.map(work, jobs)
        for _, result in zip(track(jobs, words), results, strict=True):
            yield result


def _one_core(cores: Queue[int]) -> None:
    cv2.setNumThreads(1)
    core = cores.get()
    if core >= 0:
        os.sched_setaffinity(0, {core})
