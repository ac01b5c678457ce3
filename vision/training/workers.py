"""Several processes make a set together on one machine and one graphics card.

Each worker takes every W-th room whole, so that a room's textures are uploaded once, and writes
into a folder of its own: ``OUT/w00/SET/NAME.jpg`` with ``OUT/w00/SET/truth.json`` beside them.
"""

from __future__ import annotations

import os
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stderr
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2

from vision.training.scenes.batch import Effort, FolderWriter, Job, run_jobs, truth_file
from vision.training.scenes.optics.render import Renderer

TRUTH_EVERY = 25
"""Truth is written again after so many stills, so that a stop loses few."""
LOG_FILE = "log.txt"

JobMaker = Callable[[int, int], list[Job]]
"""(worker, workers) → that worker's jobs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """What the workers share."""

    out: Path
    workers: int
    variant: str
    effort: Effort
    limit_s: float
    made_by: Mapping[str, Any]


def share_of(jobs: Sequence[Job], worker: int, workers: int) -> list[Job]:
    """Every ``workers``-th room's jobs, beginning with room number ``worker``."""
    order: dict[int, int] = {}
    for job in jobs:
        order.setdefault(job.scene.room.seed, len(order))
    return [job for job in jobs if order[job.scene.room.seed] % workers == worker]


def render_with_workers(crew: Crew, jobs_of: JobMaker) -> int:
    """Start the workers, wait for them, tell what came; the number of stills.

    ``jobs_of`` must be importable by its name, since workers are fresh processes.
    """
    # numeric libraries of each worker keep to one core; set before they are loaded there
    os.environ["OMP_NUM_THREADS"] = "1"
    start = time.monotonic()
    context = get_context("spawn")
    processes = [context.Process(target=work, args=(crew, jobs_of, k)) for k in range(crew.workers)]
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    for k, process in enumerate(processes):
        if process.exitcode:
            log = worker_folder(crew.out, k) / LOG_FILE
            print(f"worker {k} ended with {process.exitcode}; see {log}", file=sys.stderr)
    count = sum(1 for _ in crew.out.glob("w[0-9][0-9]/*/*.jpg"))
    spent = time.monotonic() - start
    print(f"{count} stills in {spent:.0f} s, {count / spent:.2f} a second", file=sys.stderr)
    return count


def worker_folder(out: Path, worker: int) -> Path:
    """Where a worker writes."""
    return out / f"w{worker:02d}"


def work(crew: Crew, jobs_of: JobMaker, worker: int) -> None:
    """One worker's whole life; what it tells goes into its log."""
    cv2.setNumThreads(1)
    folder = worker_folder(crew.out, worker)
    folder.mkdir(parents=True, exist_ok=True)
    with (
        (folder / LOG_FILE).open("w", encoding="utf-8", buffering=1) as log,
        redirect_stderr(log),
    ):
        write_stills(
            jobs_of(worker, crew.workers), Renderer(crew.variant), FolderWriter(folder), crew
        )


def write_stills(jobs: Sequence[Job], renderer: Renderer, writer: FolderWriter, crew: Crew) -> None:
    """Render jobs into a folder, truth kept up to date, until done or out of time."""
    start = time.monotonic()
    truths: dict[str, dict[str, Any]] = defaultdict(dict)

    def tell() -> None:
        for folder, stills in truths.items():
            writer.replace(f"{folder}/truth.json", truth_file(crew.made_by, stills))

    for count, (path, data, truth) in enumerate(run_jobs(jobs, renderer, crew.effort), 1):
        folder, name = path.rsplit("/", 1)
        writer.add(path, data)
        truths[folder][name] = truth
        if count % TRUTH_EVERY == 0:
            tell()
            print(f"{count}/{len(jobs)} in {time.monotonic() - start:.0f} s", file=sys.stderr)
        if time.monotonic() - start > crew.limit_s:
            print(f"stopped at the limit after {path}", file=sys.stderr)
            break
    tell()
