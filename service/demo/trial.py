"""The sample practice done once: lens, calibration, readings, verdicts, each step timed.

``restmark demo`` shows it and ``restmark bench`` measures it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from calibration.errors import RestmarkError
from calibration.from_still import calibrate
from calibration.kept.calibration import Calibration
from calibration.lens.board import BoardPattern
from calibration.lens.file import Lens
from calibration.lens.fit import fit_lens
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.table import Table
from service.practice import Plan, Reading, SessionResult, score_session
from vision.known.empty_check import balls_on_bed, refuse_balls
from vision.layout import Layout
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import TruthStill, read_truth
from vision.truth.measure import Accuracy, Matched, match_layout, summary

from .samples import (
    BOARD_FOLDER,
    EMPTY_STILL,
    PRACTICE_HEAD,
    PRACTICE_SURFACE,
    SHOTS_FOLDER,
    sample_folder,
    sample_stills,
)

Item = TypeVar("Item")


class Track(Protocol):
    """Wraps a loop, for a progress display."""

    def __call__(self, items: Sequence[Item], words: str, /) -> Iterable[Item]:
        """The same items."""
        ...


def untracked(items: Sequence[Item], words: str) -> Iterator[Item]:
    """No progress display."""
    yield from items


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Everything that the sample practice gave."""

    lens: Lens
    calibration: Calibration
    empty_still: bytes
    stills: Mapping[str, bytes]
    readings: tuple[tuple[str, Reading], ...]
    plan: Plan
    result: SessionResult
    truth: Mapping[str, TruthStill]
    seconds: Mapping[str, float]
    """Time of each part."""
    step_ms: tuple[Mapping[str, float], ...]
    """Time of each step of reading, still by still."""

    @property
    def layouts(self) -> dict[str, Layout]:
        """Layouts of the stills that could be read."""
        return {name: got for name, got in self.readings if isinstance(got, Layout)}

    @property
    def matches(self) -> list[Matched]:
        """Every still's layout against its truth; a still without a layout misses all."""
        return [
            match_layout(layout_or_none(name, got, self.calibration.table), self.truth[name].balls)
            for name, got in self.readings
        ]

    @property
    def accuracy(self) -> Accuracy:
        """Figures of accuracy over the session."""
        return summary(self.matches)

    @property
    def bed_error_mm(self) -> NDArray[np.float64]:
        """Error of the calibration at ball height over the bed, against the true camera, (N,)."""
        first = next(iter(self.truth.values()))
        return np.asarray(np.hypot(*bed_error_mm(self.calibration, first.camera).T))


def layout_or_none(name: str, got: Reading, table: Table) -> Layout:
    """The layout, or one without balls where the still was refused."""
    if isinstance(got, Layout):
        return got
    return Layout(still=name, surface_mm=table.surface_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleTable:
    """The sample practice's table, calibrated."""

    lens: Lens
    calibration: Calibration
    empty_still: bytes


def calibrate_sample(
    *,
    announce: Callable[[str], None] = lambda text: None,
    done: Callable[[str], None] = lambda part: None,
) -> SampleTable:
    """Fit the lens to the board stills and calibrate; ``done`` is told each part that is."""
    announce("fitting the lens from the board stills")
    boards = [
        (path.name, decode_still(path.read_bytes(), name=path.name))
        for path in sample_stills(BOARD_FOLDER)
    ]
    lens = fit_lens(boards, BoardPattern())
    done("lens")
    announce("calibrating on the empty table")
    empty = sample_folder(EMPTY_STILL).read_bytes()
    made = calibrate(
        decode_still(empty, name=EMPTY_STILL),
        Table.from_surface(PRACTICE_SURFACE),
        PRACTICE_HEAD,
        Known(lens=lens),
    )
    done("calibration")
    return SampleTable(lens=lens, calibration=made, empty_still=empty)


def run_trial(
    *, announce: Callable[[str], None] = lambda text: None, track: Track = untracked
) -> Trial:
    """Do the sample practice from the board stills to the session's summary."""
    clock = _Clock()
    sample = calibrate_sample(announce=announce, done=clock.stop)
    lens, made, empty = sample.lens, sample.calibration, sample.empty_still
    still = decode_still(empty, name=EMPTY_STILL)
    refuse_balls(balls_on_bed(made, still, name=EMPTY_STILL), name=EMPTY_STILL)
    clock.stop("empty bed")
    paths = in_order(sample_stills(SHOTS_FOLDER))
    stills = {path.name: path.read_bytes() for path in paths}
    readings, step_ms = read_all(stills, made, track)
    clock.stop("reading")
    announce("scoring")
    plan = Plan.read(sample_folder(f"{SHOTS_FOLDER}/plan.json"))
    result = score_session(readings, plan, made.table)
    clock.stop("scoring")
    return Trial(
        lens=lens,
        calibration=made,
        empty_still=empty,
        stills=stills,
        readings=tuple(readings),
        plan=plan,
        result=result,
        truth=read_truth(sample_folder(SHOTS_FOLDER)),
        seconds=clock.seconds,
        step_ms=tuple(step_ms),
    )


def read_all(
    stills: Mapping[str, bytes], made: Calibration, track: Track = untracked
) -> tuple[list[tuple[str, Reading]], list[dict[str, float]]]:
    """Read stills in order, each with the one before as its previous layout, and time the steps."""
    reader = Reader(made)
    readings: list[tuple[str, Reading]] = []
    step_ms: list[dict[str, float]] = []
    previous: Layout | None = None
    for name in track(list(stills), "reading stills"):
        try:
            layout = reader.read_still(stills[name], name=name, previous=previous)
        except RestmarkError as refused:
            readings.append((name, refused))
            continue
        previous = None if layout.obstructed else layout
        readings.append((name, layout))
        step_ms.append(dict(reader.last_timings_ms))
    return readings, step_ms


def in_order(paths: Sequence[Path]) -> list[Path]:
    """Before before after, shot by shot: ``after`` sorts first by letters."""
    return sorted(paths, key=lambda path: (path.stem.rsplit("-", 1)[0], "before" not in path.stem))


class _Clock:
    """Time since the last stop, by name."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = time.perf_counter()

    def stop(self, name: str) -> None:
        now = time.perf_counter()
        self.seconds[name] = now - self._last
        self._last = now
