"""Accuracy beside time on the sample stills, with the machine that ran it."""

from __future__ import annotations

import os
import platform
import subprocess
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich import box
from rich.console import Console
from rich.table import Table as Grid

from calibration.errors import RestmarkError
from calibration.solve.baseline import homography_error_mm
from service.demo.samples import OTHERS_FOLDER, sample_folder
from service.demo.trial import Track, Trial, untracked
from vision.layout import Layout
from vision.read import Reader
from vision.truth.file import TruthStill, read_truth
from vision.truth.measure import Matched, match_layout, summary

BENCH_FORMAT = "restmark-bench"
BENCH_VERSION = 1
LIBRARIES = ("restmark", "opencv-python", "numpy", "scipy", "shapely")


def bench_figures(trial: Trial, *, track: Track = untracked) -> dict[str, Any]:
    """The figures of a finished sample practice, and of the other rooms."""
    return {
        "format": BENCH_FORMAT,
        "version": BENCH_VERSION,
        "machine": machine(),
        "lens": lens_figures(trial),
        "calibration": calibration_figures(trial),
        "session": {
            **trial.accuracy.to_dict(),
            "refused": sum(not isinstance(got, Layout) for _, got in trial.readings),
            "obstructed": sum(layout.obstructed for layout in trial.layouts.values()),
            "step_ms": median_steps(trial.step_ms),
            "scoring_s": trial.seconds["scoring"],
        },
        "others": others_figures(track),
    }


def lens_figures(trial: Trial) -> dict[str, Any]:
    """The fitted lens against the true one."""
    true = next(iter(trial.truth.values())).camera
    return {
        "held_out_rms_px": trial.lens.held_out_rms_px,
        "coverage": trial.lens.coverage,
        "focal_error_px": trial.lens.fx_px - true.fx_px,
        "seconds": trial.seconds["lens"],
    }


def calibration_figures(trial: Trial) -> dict[str, Any]:
    """The calibration's error over the bed against the budget that it states."""
    budget = trial.calibration.budget
    return {
        "bed_error_mm": distribution(trial.bed_error_mm),
        **homography_figures(next(iter(trial.truth.values()))),
        "stated_95_median_mm": None if budget is None else budget.median_mm,
        "stated_95_worst_mm": None if budget is None else budget.worst_mm,
        "seconds": trial.seconds["calibration"],
    }


def homography_figures(still: TruthStill) -> dict[str, dict[str, float]]:
    """Error over the bed of a homography from four true corners in the same still.

    As seen, and with the true lens's distortion taken out first.
    """
    plain = replace(still.camera, distortion=(0.0,) * 5)
    cases = {
        "bed": (still.camera, 0.0),
        "bed_undistorted": (plain, 0.0),
        "noses_undistorted": (plain, still.table.nose_height_mm),
    }
    return {
        f"homography_{name}_error_mm": distribution(
            np.hypot(*homography_error_mm(camera, still.table, height_mm).T)
        )
        for name, (camera, height_mm) in cases.items()
    }


def others_figures(track: Track = untracked) -> dict[str, Any]:
    """Single stills of other rooms, read with their true calibration."""
    folder = sample_folder(OTHERS_FOLDER)
    truth = read_truth(folder)
    matches: list[Matched] = []
    step_ms: list[Mapping[str, float]] = []
    counts = {"refused": 0, "obstructed": 0, "obstructed_refused": 0, "clear_refused": 0}
    for name in track(list(truth), "reading other rooms"):
        still = truth[name]
        counts["obstructed"] += still.obstructed
        try:
            layout, steps = read_other(folder / name, still)
        except RestmarkError:
            counts["refused"] += 1
            matches.append(match_layout(_empty(name, still), still.balls))
            continue
        step_ms.append(steps)
        if still.obstructed:
            counts["obstructed_refused"] += layout.obstructed
            continue
        counts["clear_refused"] += layout.obstructed
        matches.append(match_layout(layout, still.balls))
    return {**summary(matches).to_dict(), **counts, "step_ms": median_steps(step_ms)}


def read_other(path: Path, still: TruthStill) -> tuple[Layout, dict[str, float]]:
    """One still with its true calibration: the layout and the time of each step."""
    started = time.perf_counter()
    reader = Reader(still.calibration)
    maps_ms = (time.perf_counter() - started) * 1e3
    layout = reader.read_still(path.read_bytes(), name=path.name)
    return layout, {"maps (once a calibration)": maps_ms, **reader.last_timings_ms}


def median_steps(step_ms: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Median over stills of each step's time in ms, and of a still's whole time."""
    names = dict.fromkeys(name for steps in step_ms for name in steps)
    out = {
        name: float(np.median([steps[name] for steps in step_ms if name in steps]))
        for name in names
    }
    whole = [
        sum(ms for name, ms in steps.items() if not name.startswith("maps")) for steps in step_ms
    ]
    return {**out, "whole": float(np.median(whole))} if whole else out


def distribution(values: NDArray[np.float64]) -> dict[str, float]:
    """Median, 95th and 99th percentile and the worst."""
    return {
        "median": float(np.median(values)),
        "p95": float(np.percentile(values, 95)),
        "p99": float(np.percentile(values, 99)),
        "worst": float(np.max(values)),
    }


def machine() -> dict[str, Any]:
    """What the figures were measured on."""
    return {
        "processor": _processor(),
        "cpus": len(os.sched_getaffinity(0))
        if hasattr(os, "sched_getaffinity")
        else os.cpu_count(),
        "system": platform.platform(),
        "python": platform.python_version(),
        "versions": {name: _version(name) for name in LIBRARIES},
        "commit": commit(),
        "load": os.getloadavg()[0] if hasattr(os, "getloadavg") else None,
        "when": time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime()),
    }


def commit() -> str | None:
    """The checkout's commit, with a mark where files differ from it; None outside a checkout."""
    here = Path(__file__).resolve().parents[2]
    if not (here / ".git").exists():
        return None
    try:
        head = _git(here, "rev-parse", "--short", "HEAD")
        changed = _git(here, "status", "--porcelain", "--untracked-files=no")
    except (OSError, subprocess.SubprocessError):
        return None
    return f"{head} with changes" if changed else head


def _git(folder: Path, *words: str) -> str:
    done = subprocess.run(
        ["git", "-C", str(folder), *words], capture_output=True, text=True, timeout=10, check=True
    )
    return done.stdout.strip()


def _processor() -> str:
    try:
        for line in Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.processor() or platform.machine()


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None


def _empty(name: str, still: TruthStill) -> Layout:
    return Layout(still=name, surface_mm=still.table.surface_mm)


# -- print -----------------------------------------------------------------------------------


def print_machine(on: Mapping[str, Any], console: Console) -> None:
    """What the figures were measured on."""
    console.print(
        f"{on['processor']}, {on['cpus']} cpus, {on['system']}; Python {on['python']}, "
        + ", ".join(f"{name} {number}" for name, number in on["versions"].items() if number)
        + f"; commit {on['commit'] or 'unknown'}; {on['when']}"
    )
    if on.get("load") is not None:
        console.print(f"load of the machine: {on['load']:.1f}")


def print_bench(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as tables on a terminal."""
    print_machine(figures["machine"], console)
    lens, made = figures["lens"], figures["calibration"]
    bed = made["bed_error_mm"]
    console.print(
        f"lens: held-out {lens['held_out_rms_px']:.3f} px, focal length off by "
        f"{lens['focal_error_px']:+.2f} px, {lens['seconds']:.1f} s"
    )
    console.print(
        f"calibration: error over the bed median {bed['median']:.2f}, 95 % {bed['p95']:.2f}, "
        f"worst {bed['worst']:.2f} mm (stated 95 %: median {_mm(made['stated_95_median_mm'])}, "
        f"worst {_mm(made['stated_95_worst_mm'])} mm), {made['seconds']:.1f} s"
    )
    for name, what in (
        ("bed", "the bed"),
        ("bed_undistorted", "the bed, the lens's distortion taken out"),
        ("noses_undistorted", "the nose lines, the lens's distortion taken out"),
    ):
        plain = made[f"homography_{name}_error_mm"]
        console.print(
            f"for comparison, a homography from four true corners of {what}: median "
            f"{plain['median']:.2f}, 95 % {plain['p95']:.2f}, worst {plain['worst']:.2f} mm"
        )
    console.print(_accuracy_grid(figures))
    console.print(_time_grid(figures))


ROWS = (
    ("stills", "stills"), ("balls", "balls"), ("missed", "missed"), ("invented", "invented"),
    ("names right", "names_right"), ("wrong names", "wrong_names"),
    ("  of them undoubted", "wrong_names_undoubted"), ("names in doubt", "doubtful"),
    ("cue ball wrong", "cue_wrong"), ("median mm", "median_mm"), ("95th percentile mm", "p95_mm"),
    ("99th percentile mm", "p99_mm"), ("worst mm", "worst_mm"),
    ("inside the 95 % ellipse", "coverage_95"), ("stills refused", "refused"),
    ("obstructed stills", "obstructed"), ("  of them refused", "obstructed_refused"),
    ("clear stills refused", "clear_refused"),
)  # fmt: skip


def _accuracy_grid(figures: Mapping[str, Any]) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("accuracy")
    grid.add_column("session, fitted calibration", justify="right")
    grid.add_column("other rooms, true calibration", justify="right")
    for label, key in ROWS:
        cells = (figures[part].get(key) for part in ("session", "others"))
        grid.add_row(label, *(_cell(key, value) for value in cells))
    return grid


def _time_grid(figures: Mapping[str, Any]) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("ms a still (median)")
    grid.add_column("session", justify="right")
    grid.add_column("other rooms", justify="right")
    steps = [figures[part]["step_ms"] for part in ("session", "others")]
    names: Iterable[str] = dict.fromkeys([*steps[1], *steps[0]])
    for name in sorted(names, key=lambda name: name == "whole"):
        grid.add_row(name, *(f"{s[name]:.0f}" if name in s else "–" for s in steps))
    return grid


def _cell(key: str, value: float | int | None) -> str:
    if value is None:
        return "–"
    if key in ("names_right", "coverage_95"):
        return f"{100 * value:.1f} %"
    return f"{value:.2f}" if key.endswith("_mm") else str(value)


def _mm(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"
