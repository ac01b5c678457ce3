"""What reading an archive again costs beside a plain loop, and what a million stills would take.

The sample practice's stills stand in for an archive, again and again. Everything is measured on
one thread a process; what many machines would do is reckoned from that, and called so.
"""

from __future__ import annotations

import pickle
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from rich.console import Console

from calibration.kept.calibration import Calibration
from service.bench.practice import machine
from service.demo.samples import SHOTS_FOLDER, sample_stills
from service.demo.trial import calibrate_sample
from service.rereading import Target, Wanted, target_of
from service.rereading.keeping import Kept
from service.rereading.pool import own_pool
from service.rereading.stills import fetched
from service.rereading.values import BatchRead, Found
from service.rereading.wanted import plan
from service.rereading.work import read_batch
from service.store import Store
from service.words.archive.lines import time_said
from vision.layout import Layout

from .memory import peak_mb

ARCHIVE_FORMAT, ARCHIVE_VERSION = "restmark-bench-archive", 1
STILLS = 120
MOST_OVERHEAD, MOST_WORKER_MB = 0.10, 450.0
"""What is asked: a still's time beside the plain loop's, and memory of a worker."""
PAPER_STILLS, PAPER_WORKERS = 1_000_000, 64
_OLDER = "0" * 64


def run_bench_archive(
    *,
    announce: Callable[[str], None] = lambda text: None,
    stills: int = STILLS,
    workers: Sequence[int] = (1, 2),
) -> dict[str, Any]:
    """Read ``stills`` in a plain loop and by so many workers; plain JSON.

    As many loops as there are workers run at once, before and after them: two processes of one
    machine slow each other whatever they are. The mean of both counts.
    """
    made = calibrate_sample(announce=announce).calibration
    by = []
    with tempfile.TemporaryDirectory(prefix="restmark-archive-") as folder:
        names = _archive(Path(folder), made, stills)
        for count in workers:
            announce(f"{count} plain loop(s), {count} worker(s), the loop(s) again")
            before = _loops(Path(folder), made, names, count)
            found = _spread(Path(folder), count)
            after = _loops(Path(folder), made, names, count)
            by.append(found | _beside(found, before + after))
    return {
        "format": ARCHIVE_FORMAT,
        "version": ARCHIVE_VERSION,
        "machine": machine(),
        "stills": stills,
        "workers": by,
        "on_paper": on_paper(by, mean_bytes=_mean_bytes()),
    }


def on_paper(
    measured: Sequence[Mapping[str, Any]],
    *,
    mean_bytes: float,
    stills: int = PAPER_STILLS,
    workers: int = PAPER_WORKERS,
) -> dict[str, Any]:
    """What many workers like those measured would do with many stills.

    Workers share nothing but the one process that keeps what they read, so they read as quickly
    as one of the most that were measured together, and no quicker than that process keeps.
    """
    most = max(measured, key=lambda each: each["workers"])
    reading = workers * most["per_s"] / most["workers"]
    keeping = 1000 / most["keeping_ms"]
    rate = min(reading, keeping)
    return {
        "stills": stills,
        "workers": workers,
        "reading_per_s": reading,
        "keeping_per_s": keeping,
        "per_s": rate,
        "limit": "workers" if reading <= keeping else "the process that keeps",
        "hours": stills / rate / 3600,
        "fetched_mb_s": rate * mean_bytes / 1e6,
        "archive_gb": stills * mean_bytes / 1e9,
    }


def print_bench_archive(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as lines on a terminal."""
    paper = figures["on_paper"]
    console.print(
        f"{figures['stills']} stills, one thread a process; other work on the machine: load "
        f"{figures['machine']['load']}"
    )
    for each in figures["workers"]:
        console.print(
            f"{each['workers']} worker(s): {each['per_s']:.1f} stills a second; as many plain "
            f"loops take {each['loop_still_ms']:.1f} ms a still, {each['loop_cpu_ms']:.1f} of it "
            f"work, workers {each['overhead']:+.1%} of time and {each['cpu_overhead']:+.1%} of "
            f"work (asked: at most {MOST_OVERHEAD:.0%}); {each['worker_mb']:.0f} MB a worker "
            f"(asked: at most {MOST_WORKER_MB:.0f}); {each['keeping_ms']:.2f} ms a still to keep"
        )
    console.print(
        f"on paper: {paper['stills']:,} stills on {paper['workers']} such workers: "
        f"{paper['per_s']:.0f} a second, {time_said(paper['hours'] * 3600)}, by {paper['limit']} "
        f"({paper['reading_per_s']:.0f} a second read, {paper['keeping_per_s']:.0f} kept); "
        f"{paper['archive_gb']:.0f} GB at {paper['fetched_mb_s']:.0f} MB/s"
    )


def _archive(folder: Path, made: Calibration, count: int) -> list[str]:
    """A store of so many stills that older networks read; their hashes in its order."""
    paths = sample_stills(SHOTS_FOLDER)
    names = []
    with closing(Store(folder)) as store, store.writing() as writer:
        held = writer.add_calibration(made.to_dict())
        for k in range(count):
            path = paths[k % len(paths)]
            still = writer.add_still(path.read_bytes(), name=path.name)
            empty = Layout(still=path.name, surface_mm=made.table.surface_mm)
            writer.add_reading(still, empty, calibration_id=held.id, took_ms=0.0, weights=_OLDER)
            names.append(still.sha256)
    return names


def _mean_bytes() -> float:
    sizes = [path.stat().st_size for path in sample_stills(SHOTS_FOLDER)]
    return sum(sizes) / len(sizes)


def _loops(
    folder: Path, made: Calibration, names: Sequence[str], count: int
) -> list[dict[str, float]]:
    """So many loops at once, each through its part of the stills."""
    parts = [list(names[k::count]) for k in range(count)]
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        return list(pool.map(_loop, [folder] * count, [made] * count, parts))


def _beside(found: Mapping[str, Any], loops: Sequence[Mapping[str, float]]) -> dict[str, Any]:
    """Workers against loops: time and work of a still, and what the loops took."""
    still_ms = sum(each["still_ms"] for each in loops) / len(loops)
    cpu_ms = sum(each["cpu_ms"] for each in loops) / len(loops)
    return {
        "loop_still_ms": still_ms,
        "loop_cpu_ms": cpu_ms,
        "loops_ms": [round(each["still_ms"], 1) for each in loops],
        "overhead": found["workers"] * found["still_ms"] / still_ms - 1,
        "cpu_overhead": found["worker_cpu_ms"] / cpu_ms - 1,
    }


def _loop(folder: Path, made: Calibration, names: Sequence[str]) -> dict[str, float]:
    """Every still one after the other, nothing kept: time and work of one, ms."""
    import cv2

    from vision.networks import loaded
    from vision.read import Reader

    cv2.setNumThreads(1)
    reader, place = Reader(made, networks=loaded(1)), str(folder / "stills")
    reader.read_still(fetched(place, names[0]), afresh=True)
    began, worked = time.perf_counter(), time.process_time()
    for name in names:
        reader.read_still(fetched(place, name), afresh=True)
    took, work = time.perf_counter() - began, time.process_time() - worked
    return {
        "still_ms": took * 1000 / len(names),
        "cpu_ms": work * 1000 / len(names),
        "peak_mb": peak_mb(),
    }


def _spread(folder: Path, count: int) -> dict[str, Any]:
    """The same by workers, everything kept, from the moment that each has its maps."""
    with closing(Store(folder)) as store:
        target = _target(store)
        kept = Kept(store, target, str(store.files.folder.resolve()))
        missing = plan(store, target, kept.refusals)
        found: dict[int, Found] = {}
        with own_pool(count) as pool:
            first = next(kept.batches(missing, count)).parts()[0]
            pool.client.run(read_batch, first.job)
            work = sum(pool.client.run(time.process_time).values())
            began = time.perf_counter()
            for batch, read in pool.results(kept.batches(missing, count)):
                kept.keep(batch, read)
                found.update({each.still_id: each for each in read.found})
            took = time.perf_counter() - began
            work = sum(pool.client.run(time.process_time).values()) - work
            memory = max(pool.client.run(peak_mb).values())
        return {
            "workers": count,
            "per_s": missing.stills / took,
            "still_ms": took * 1000 / missing.stills,
            "worker_cpu_ms": work * 1000 / missing.stills,
            "keeping_ms": _keeping_ms(store, found),
            "worker_mb": memory,
        }


def _keeping_ms(store: Store, found: Mapping[int, Found]) -> float:
    """Time of the process that keeps, a still: jobs made, results taken in, rows written."""
    target = _target(store)
    kept = Kept(store, target, str(store.files.folder.resolve()))
    missing = plan(store, target, kept.refusals)
    began = time.perf_counter()
    for batch in kept.batches(missing, 1):
        pickle.dumps(batch.job)
        came = pickle.dumps(BatchRead(found=tuple(found[each.id] for each in batch.job.stills)))
        kept.keep(batch, pickle.loads(came))
    return (time.perf_counter() - began) * 1000 / missing.stills


def _target(store: Store) -> Target:
    """Today's networks and a calibration that nothing was read with yet."""
    with store.writing() as writer:
        held = writer.calibration()
        assert held is not None
        writer.add_calibration(dict(held.document))
    return target_of(store, Wanted(newest=True))
