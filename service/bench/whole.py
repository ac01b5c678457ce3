"""The whole bench of the sample stills: accuracy, then a plain comparison, time and memory."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from rich.console import Console

from service.bench.stills.circles import circle_figures, print_circles
from service.bench.stills.readings import BenchStill, bench_stills
from service.bench.stills.time import RUNS, print_time, time_figures
from service.demo.samples import OTHERS_FOLDER, SHOTS_FOLDER, sample_folder
from service.demo.trial import Track, Trial, run_trial, untracked

from .memory import memory_figures
from .position import position_figures, print_position
from .practice import bench_figures, print_bench


def run_bench(
    *,
    announce: Callable[[str], None] = lambda text: None,
    track: Track = untracked,
    weights: Path | None = None,
    workers: int | None = None,
) -> dict[str, Any]:
    """Measure lens, calibration, reading, position, time and memory on the sample stills."""
    trial = run_trial(announce=announce, track=track)
    announce("reading the other rooms with their true calibration")
    figures = bench_figures(trial, track=track)
    stills = sample_stills()
    announce("finding circles for comparison")
    figures["circles"] = circle_figures(stills, workers=workers, track=track)
    announce("timing")
    figures["time"] = time_figures(stills, runs=RUNS, weights=weights, track=track)
    figures["memory"] = sample_memory(trial)
    figures["position"] = position_figures()
    return figures


def sample_stills() -> tuple[BenchStill, ...]:
    """All sample stills with balls and their truth, those of the practice first."""
    return bench_stills(sample_folder(SHOTS_FOLDER)) + bench_stills(sample_folder(OTHERS_FOLDER))


def sample_memory(trial: Trial) -> dict[str, Any]:
    """Peak memory of ``read`` on a hundred stills of the practice."""
    paths = [still.path for still in bench_stills(sample_folder(SHOTS_FOLDER))]
    return memory_figures(paths, trial.calibration)


def print_all(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as tables on a terminal."""
    print_bench(figures, console)
    print_circles(figures["circles"], console)
    print_time(figures["time"], console)
    memory = figures["memory"]
    console.print(f"read of {memory['stills']} stills: peak memory {memory['peak_mb']:.0f} MB")
    print_position(figures["position"], console)
