"""Calibrations of many rooms against truth: a folder of empty stills with its ``truth.json``.

Every still is calibrated with what its user might have: the lens file, the lens's height by tape
measure, a ball-check still, or nothing. The user tells the named size nearest to the table, as it
is told in practice, however the table was really built. Errors are those of a ball's centre over
the bed, in the table's own frame.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

from calibration.errors import FileFormatError, RestmarkError
from calibration.from_still import landmarks_of, solved, watched
from calibration.kept.budget import bed_grid_mm, radius_95_mm
from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from calibration.seen.frozen_balls import frozen_marks
from calibration.seen.marks import Landmarks
from calibration.solve.baseline import homography_error_mm
from calibration.solve.known import MEASURED_ERROR_MM, NAMED_ERROR_MM, Known
from calibration.solve.quality import bed_error_mm
from calibration.table import Table, nearest_named
from service.demo.trial import Track, untracked
from vision.known.ball_check import seen_balls
from vision.still import Picture, decode_still
from vision.truth.file import TruthStill, read_truth

KEPT = "python -m vision.training.dataset --set empties --rooms 45 --seed 93000"
"""The stills kept for this bench: nothing may be tuned on them."""
TAPE_OFF_MM = (-20.0, -10.0, 10.0, 20.0)
"""How far the told height is off: the whole of what a tape measure is trusted to."""
BALL_CHECK = "-ball-check"
_WORDS = "calibrating empty stills"
_OWN_SIZE_MM = 0.05
"""A table further than this from its named size has a size of its own worth measuring."""
LENS, ALONE, BALLS = "lens file", "still alone", "ball check"
TAPES = tuple(f"tape {off_mm:+g} mm" for off_mm in TAPE_OFF_MM)
OWN_LENS, OWN_ALONE, OWN_BALLS = (f"{given}, measured surface" for given in (LENS, ALONE, BALLS))
CORNERS = {"homography, four bed corners": 0.0, "homography, four nose corners": None}
"""The comparison: true corners at a height above the bed, or at the table's own nose height."""
CASES = (LENS, *TAPES, ALONE, BALLS, OWN_LENS, OWN_ALONE, OWN_BALLS, *CORNERS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One still calibrated in one way, or refused."""

    still: str
    case: str
    told: str
    """The surface as told."""
    seconds: float = 0.0
    cpu_s: float = 0.0
    """Time by the clock and of the processor, of the whole calibration from the decoded still."""
    refused: str = ""
    """The reason; the figures below are 0 where there is one."""
    median_mm: float = 0.0
    worst_mm: float = 0.0
    """True error over the bed."""
    stated_median_mm: float | None = None
    stated_worst_mm: float | None = None
    """Stated 95 % error over the bed; None where nothing is stated."""
    places_within: float = 0.0
    """Part of the bed where the error is within what is stated there."""
    warnings: tuple[str, ...] = ()

    @property
    def beyond_twice(self) -> bool:
        """Whether the true error exceeds twice the stated one, in the middle or at its worst."""
        if self.stated_worst_mm is None or self.stated_median_mm is None:
            return False
        return (
            self.worst_mm > 2 * self.stated_worst_mm or self.median_mm > 2 * self.stated_median_mm
        )


def empty_stills(folder: Path) -> tuple[tuple[TruthStill, Path | None], ...]:
    """The folder's stills of empty tables, each with its ball-check still where there is one.

    A ball-check still is called like its empty one, with ``-ball-check`` after it or instead of
    ``-empty``. Raises FileFormatError where the folder holds no empty stills.
    """
    truth = read_truth(folder)
    stems = {name: name.rpartition(".")[0] for name in truth}
    checks = {
        stem.removesuffix(BALL_CHECK): folder / name
        for name, stem in stems.items()
        if stem.endswith(BALL_CHECK)
    }
    found = tuple(
        (still, checks.get(stems[name], checks.get(stems[name].removesuffix("-empty"))))
        for name, still in truth.items()
        if not (stems[name].endswith(BALL_CHECK) or still.balls or still.obstructed)
    )
    if not found:
        raise FileFormatError(
            f"{folder}: its truth holds no stills of an empty table; allowed: one or more. "
            f"Make some: `{KEPT}`."
        )
    return found


def measure_rooms(
    folder: Path, *, workers: int | None = None, track: Track = untracked
) -> tuple[Outcome, ...]:
    """Every empty still of ``folder`` calibrated in every way of ``CASES`` that applies."""
    jobs = [(folder, still, check) for still, check in empty_stills(folder)]
    count = min(workers or os.cpu_count() or 1, len(jobs))
    if count == 1:
        each = [measure_room(job) for job in track(jobs, _WORDS)]
    else:
        # started afresh: OpenCV's threads do not survive a fork
        with ProcessPoolExecutor(
            count, mp_context=get_context("spawn"), initializer=_one_core
        ) as executor:
            results = executor.map(measure_room, jobs)
            each = [found for _, found in zip(track(jobs, _WORDS), results, strict=True)]
    return tuple(outcome for found in each for outcome in found)


def _one_core() -> None:
    cv2.setNumThreads(1)


def measure_room(job: tuple[Path, TruthStill, Path | None]) -> tuple[Outcome, ...]:
    """One empty still (its folder, truth and ball-check still) in every way that applies to it."""
    folder, still, check = job
    picture = decode_still((folder / still.name).read_bytes(), name=still.name)
    balls = None if check is None else decode_still(check.read_bytes(), name=check.name)
    name, told = nearest_named(still.table)
    named = Known(surface_error_mm=NAMED_ERROR_MM)
    return (
        *_as_named(_Judge(still, name), picture, told, named, balls),
        *_as_measured(_Judge(still, "measured"), picture, told, balls),
        *(_by_corners(still, case, height_mm) for case, height_mm in CORNERS.items()),
    )


def _as_named(
    judge: _Judge, picture: Picture, told: Table, named: Known, balls: Picture | None
) -> Iterator[Outcome]:
    """The named size told, with lens file, tape measure, ball check or nothing."""
    camera, head = judge.still.camera, judge.still.head
    by_lens = _Look.at(picture, told, head, replace(named, lens=Lens.exact(camera)))
    yield judge.outcome(LENS, by_lens.solved, by_lens.took)
    alone = _Look.at(picture, told, head, named)
    for case, off_mm in zip(TAPES, TAPE_OFF_MM, strict=True):
        height_mm = float(camera.position_mm[2]) + off_mm
        yield judge.outcome(case, partial(alone.solved, height_mm), alone.took)
    yield judge.outcome(ALONE, alone.solved, alone.took)
    if balls is not None:
        yield judge.outcome(BALLS, partial(alone.checked, balls), alone.took)


def _as_measured(
    judge: _Judge, picture: Picture, named: Table, balls: Picture | None
) -> Iterator[Outcome]:
    """The table's own size told to the millimetre, where it is not just the named one."""
    camera, head, table = judge.still.camera, judge.still.head, judge.still.table
    if np.abs(np.subtract(table.surface_mm, named.surface_mm)).max() < _OWN_SIZE_MM:
        return
    own = Table.from_surface(f"{table.length_mm:.0f}x{table.width_mm:.0f}")
    known = Known(surface_error_mm=MEASURED_ERROR_MM)
    by_lens = _Look.at(picture, own, head, replace(known, lens=Lens.exact(camera)))
    yield judge.outcome(OWN_LENS, by_lens.solved, by_lens.took)
    alone = _Look.at(picture, own, head, known)
    yield judge.outcome(OWN_ALONE, alone.solved, alone.took)
    if balls is not None:
        yield judge.outcome(OWN_BALLS, partial(alone.checked, balls), alone.took)


def _by_corners(still: TruthStill, case: str, height_mm: float | None) -> Outcome:
    """What a homography from the four true corners gives, told the table's true size."""
    if height_mm is None:
        height_mm = still.table.nose_height_mm
    off_mm = np.hypot(*homography_error_mm(still.camera, still.table, height_mm).T)
    return Outcome(
        still=still.name,
        case=case,
        told="true",
        median_mm=float(np.median(off_mm)),
        worst_mm=float(off_mm.max()),
    )


@dataclass(frozen=True, slots=True)
class _Clock:
    """When something began, by the clock and by the processor."""

    seconds: float
    cpu_s: float

    @classmethod
    def now(cls) -> _Clock:
        return cls(time.perf_counter(), time.process_time())

    def since(self) -> _Clock:
        """What has gone by."""
        now = _Clock.now()
        return _Clock(now.seconds - self.seconds, now.cpu_s - self.cpu_s)

    def __add__(self, other: _Clock) -> _Clock:
        return _Clock(self.seconds + other.seconds, self.cpu_s + other.cpu_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """One search for landmarks, shared by the ways that differ in the solve alone."""

    picture: Picture
    table: Table
    known: Known
    found: Landmarks | RestmarkError
    took: _Clock

    @classmethod
    def at(cls, picture: Picture, table: Table, head: str, known: Known) -> _Look:
        started = _Clock.now()
        found: Landmarks | RestmarkError
        try:
            found = landmarks_of(picture, table, head, known)
        except RestmarkError as refused:
            found = refused
        return cls(
            picture=picture,
            table=table,
            known=known,
            found=found,
            took=started.since(),
        )

    def solved(self, camera_height_mm: float | None = None) -> Calibration:
        """The calibration by what was found, and a height by tape where given."""
        if isinstance(self.found, RestmarkError):
            raise self.found
        made = solved(
            self.found, self.table, replace(self.known, camera_height_mm=camera_height_mm)
        )
        return watched(made, self.picture)

    def checked(self, balls: Picture) -> Calibration:
        """With the frozen balls of the ball-check still, read under a calibration without."""
        before = self.solved()
        assert isinstance(self.found, Landmarks)
        marks = frozen_marks(seen_balls(balls, before), before.camera, before.table)
        more = replace(self.found, items=(*self.found.items, *marks))
        return watched(solved(more, self.table, self.known), self.picture)


@dataclass(frozen=True, slots=True)
class _Judge:
    """Holds calibrations of one still against its truth."""

    still: TruthStill
    told: str

    def outcome(self, case: str, make: Callable[[], Calibration], before: _Clock) -> Outcome:
        """What ``make`` gives; ``before`` is the time that the shared search took."""
        blank = Outcome(still=self.still.name, case=case, told=self.told)
        started = _Clock.now()
        try:
            made: Calibration | RestmarkError = make()
        except RestmarkError as refused:
            made = refused
        took = before + started.since()
        blank = replace(blank, seconds=took.seconds, cpu_s=took.cpu_s)
        if isinstance(made, RestmarkError):
            return replace(blank, refused=made.detail)
        off_mm = np.hypot(*bed_error_mm(made, self.still.camera).T)
        stated_mm = radius_95_mm(made.own_covariance_mm2(bed_grid_mm(made.table), by_tape=True))
        return replace(
            blank,
            median_mm=float(np.median(off_mm)),
            worst_mm=float(off_mm.max()),
            stated_median_mm=float(np.median(stated_mm)),
            stated_worst_mm=float(stated_mm.max()),
            places_within=float(np.mean(off_mm <= stated_mm)),
            warnings=made.warnings,
        )
