"""How long a still takes, from the bytes of its file to its layout, beside decoding alone.

Each still is read by a reader that has seen no other of its table, the networks loaded and warm;
then the next still, with one ball elsewhere, by the same reader. Times are by the clock and of the
processor over all threads; medians over the runs.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table as Grid

from calibration.errors import FileFormatError
from calibration.from_still import watched
from service.bench.practice import machine, median_steps, print_machine
from service.demo.trial import Track, untracked
from vision.layout import Layout
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import TruthBall
from vision.truth.measure import match_layout

from .next_still import with_one_moved
from .predict import predict_figures
from .readings import KEPT, MAPS, BenchStill, bench_stills

TIME_FORMAT = "restmark-bench-time"
TIME_VERSION = 1
RUNS = 60
"""Stills that are timed, the same one again where there are fewer."""
WARM = 3
SEED = 4
DECODES = 3
"""A still is decoded this often for its yardstick, the median counts."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Time that something took, ms by the clock and of the processor."""

    ms: float
    cpu_ms: float

    @classmethod
    def by(cls, work: Callable[[], object]) -> Taken:
        """How long a piece of work takes, once."""
        started, cpu = time.perf_counter(), time.process_time()
        work()
        return cls((time.perf_counter() - started) * 1e3, (time.process_time() - cpu) * 1e3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One still timed, and the next one where one could be made."""

    decode: Taken
    layout: Taken
    step_ms: Mapping[str, float]
    next_decode: Taken | None = None
    next_layout: Taken | None = None
    next_step_ms: Mapping[str, float] = field(default_factory=dict)
    next_wrong: int = 0
    """Balls of the next still missed, invented or misnamed without doubt."""


def time_figures(
    stills: Sequence[BenchStill],
    *,
    runs: int | None = None,
    weights: Path | None = None,
    track: Track = untracked,
) -> dict[str, Any] | None:
    """Medians over ``runs`` (default 60) clear stills, spread evenly; None where none is clear.

    ``weights``: file of the finder's weights to time ``ultralytics`` with on the same top views;
    default: those shipped, where they are.
    """
    clear = [still for still in stills if not still.truth.obstructed]
    if not clear:
        return None
    runs = runs or RUNS
    chosen = [clear[k * len(clear) // runs % len(clear)] for k in range(runs)]
    for still in chosen[:WARM]:
        timed(still, np.random.default_rng(SEED))
    rng = np.random.default_rng(SEED)
    done = [timed(still, rng) for still in track(chosen, "timing")]
    return {
        "runs": len(done),
        "size_px": sorted({still.truth.camera.image_size_px for still in chosen}),
        "cv2_threads": cv2.getNumThreads(),
        "still": _compared([(run.decode, run.layout) for run in done]),
        "next_still": _compared(
            [
                (run.next_decode, run.next_layout)
                for run in done
                if run.next_decode is not None and run.next_layout is not None
            ]
        ),
        "next_still_wrong_balls": sum(run.next_wrong for run in done),
        "step_ms": median_steps([run.step_ms for run in done]),
        "next_step_ms": median_steps([run.next_step_ms for run in done if run.next_step_ms]),
        "predict": predict_figures(chosen, weights),
    }


def run_bench_time(
    folder: Path, *, weights: Path | None = None, track: Track = untracked
) -> dict[str, Any]:
    """Time the stills of a folder; plain JSON. Raises FileFormatError where none is clear."""
    figures = time_figures(bench_stills(folder), weights=weights, track=track)
    if figures is None:
        raise FileFormatError(
            f"{folder}: all its stills are obstructed; allowed: one or more with a clear bed. "
            f"Make some: `{KEPT} --out DIR`."
        )
    return {
        "format": TIME_FORMAT,
        "version": TIME_VERSION,
        "machine": machine(),
        "folder": folder.name,
        **figures,
    }


def timed(still: BenchStill, rng: np.random.Generator) -> Run:
    """One still and its next one, by a new reader of its true calibration."""
    data = still.path.read_bytes()
    picture = decode_still(data, name=still.path.name)
    # the still's own rails stand in for an empty one's: the check for drift is timed too
    made = watched(still.calibration, picture)
    started = time.perf_counter()
    reader = Reader(made)
    maps_ms = (time.perf_counter() - started) * 1e3
    later = with_one_moved(picture, still.truth, rng)
    decode = _decoding(data)
    layout = Taken.by(lambda: reader.read_still(data))
    steps = {MAPS: maps_ms, **reader.last_timings_ms}
    if later is None:
        return Run(decode=decode, layout=layout, step_ms=steps)
    next_decode = _decoding(later.data)
    said: list[Layout] = []
    took = Taken.by(lambda: said.append(reader.read_still(later.data)))
    return Run(
        decode=decode,
        layout=layout,
        step_ms=steps,
        next_decode=next_decode,
        next_layout=took,
        next_step_ms=dict(reader.last_timings_ms),
        next_wrong=wrong_balls(said[0], later.balls),
    )


def wrong_balls(layout: Layout, balls: Sequence[TruthBall]) -> int:
    """Balls missed, invented or misnamed without doubt."""
    matched = match_layout(layout, balls)
    misnamed = sum(not (pair.name_right or pair.found.doubtful) for pair in matched.pairs)
    return len(matched.missed) + len(matched.invented) + misnamed


def _decoding(data: bytes) -> Taken:
    buffer = np.frombuffer(data, np.uint8)
    took = [Taken.by(lambda: cv2.imdecode(buffer, cv2.IMREAD_COLOR)) for _ in range(DECODES)]
    return sorted(took, key=lambda each: each.ms)[DECODES // 2]


def _compared(runs: Sequence[tuple[Taken, Taken]]) -> dict[str, float] | None:
    """Medians of decoding and of the whole reading, and of the ratio still by still."""
    if not runs:
        return None
    return {
        "runs": len(runs),
        "decode_ms": float(np.median([decode.ms for decode, _ in runs])),
        "layout_ms": float(np.median([layout.ms for _, layout in runs])),
        "decode_cpu_ms": float(np.median([decode.cpu_ms for decode, _ in runs])),
        "layout_cpu_ms": float(np.median([layout.cpu_ms for _, layout in runs])),
        "times_decode": float(np.median([layout.ms / decode.ms for decode, layout in runs])),
    }


# -- print -----------------------------------------------------------------------------------


def print_bench_time(figures: Mapping[str, Any], console: Console) -> None:
    """The figures of a folder on a terminal."""
    print_machine(figures["machine"], console)
    print_time(figures, console)


def print_time(figures: Mapping[str, Any], console: Console) -> None:
    """Times as lines and a table by step."""
    sizes = ", ".join(f"{width}x{height}" for width, height in figures["size_px"])
    for key, what in (("still", "one still"), ("next_still", "the next, one ball elsewhere")):
        row = figures[key]
        if row is not None:
            console.print(
                f"{what}, bytes to layout: {row['layout_ms']:.0f} ms, {row['times_decode']:.1f} "
                f"times cv2.imdecode ({row['decode_ms']:.1f} ms); {row['layout_cpu_ms']:.0f} ms "
                f"of the processor ({row['decode_cpu_ms']:.1f} ms decoding); medians of "
                f"{row['runs']} stills of {sizes}"
            )
    if figures["next_still"] is not None:
        console.print(
            "  balls missed, invented or misnamed without doubt in the next stills: "
            f"{figures['next_still_wrong_balls']}"
        )
    predict = figures["predict"]
    if predict is not None:
        for row in predict["by_threads"]:
            share = figures["still"]["layout_ms"] / row["ms"]
            console.print(
                f"predict of ultralytics alone, {predict['weights']}, {row['threads']} threads: "
                f"{row['ms']:.0f} ms ({row['cpu_ms']:.0f} ms of the processor); bytes to layout "
                f"is {share:.2f} of it"
            )
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("ms a still (median)")
    grid.add_column("one still", justify="right")
    grid.add_column("the next", justify="right")
    steps = (figures["step_ms"], figures["next_step_ms"])
    for name in dict.fromkeys([*steps[0], *steps[1]]):
        grid.add_row(name, *(f"{s[name]:.1f}" if name in s else "–" for s in steps))
    console.print(grid)
