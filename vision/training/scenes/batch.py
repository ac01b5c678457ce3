"""Renders many scenes: the card renders while threads develop, and tars collect the stills."""

from __future__ import annotations

import io
import json
import sys
import tarfile
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vision.training.scenes.describe.room import Scene
from vision.training.scenes.optics.lens_warp import FloatPicture
from vision.training.scenes.optics.render import Renderer
from vision.training.scenes.optics.sensor import exposure_gain
from vision.training.scenes.shapes.boards import BOARD_TRUTH

from . import assemble
from .looks import SensorLook, plain

TAR_LIMIT_BYTES = 15_500_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One still to make: its path below the output folder, and its exposure.

    ``exposure_of`` names another job whose automatic gain is used (a locked exposure).
    """

    path: str
    scene: Scene
    flicker: float = 1.0
    exposure_of: str | None = None
    sensors: tuple[SensorLook, ...] = ()
    """Other cameras' faults that the same light is developed with too: one still more each."""
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How finely and with how much help stills are made.

    ``spp`` are samples per pinhole pixel, ``fineness`` is the pinhole picture's scale against
    the still. With ``keep_going`` a still that fails is told and left out.
    """

    spp: int
    fineness: float = assemble.FINENESS
    threads: int = 4
    keep_going: bool = False


FAILURES_IN_A_ROW = 8
"""So many stills that fail one after another end a run that otherwise keeps going."""


def run_jobs(
    jobs: Sequence[Job], renderer: Renderer, effort: Effort
) -> Iterator[tuple[str, bytes, dict[str, Any]]]:
    """Yield (path, JPEG bytes, truth entry) of each job, in order.

    Threads prepare parts a few jobs ahead and develop behind; this thread renders.
    """
    with ThreadPoolExecutor(effort.threads) as pool:
        line = _Line(jobs, renderer, effort, pool)
        for index in range(len(jobs)):
            line.render(index)
            yield from line.finished(at_most=2 * effort.threads)
        yield from line.finished(at_most=0)


class _Line:
    """Jobs on their way: parts ahead, one at the card, pictures being developed."""

    def __init__(
        self, jobs: Sequence[Job], renderer: Renderer, effort: Effort, pool: ThreadPoolExecutor
    ) -> None:
        self.jobs, self.renderer, self.effort, self.pool = jobs, renderer, effort, pool
        self.needed = {job.exposure_of for job in jobs}
        self.ahead = [
            pool.submit(assemble.scene_parts, job.scene) for job in jobs[: effort.threads]
        ]
        self.done: dict[str, Future[Developed]] = {}
        self.gains: dict[str, float] = {}
        self.failed = 0

    def render(self, index: int) -> None:
        """Render one job and hand it on; another one's parts are begun."""
        parts, job = self.ahead.pop(0), self.jobs[index]
        if index + self.effort.threads < len(self.jobs):
            coming = self.jobs[index + self.effort.threads].scene
            self.ahead.append(self.pool.submit(assemble.scene_parts, coming))
        with self._left_out_on_failure(job.path):
            start = time.perf_counter()
            picture, visible = assemble.render_pinhole(
                job.scene, parts.result(), self.renderer, self.effort.spp, self.effort.fineness
            )
            print(f"{job.path} {time.perf_counter() - start:.1f} s", file=sys.stderr, flush=True)
            gain = self._gain_of(job.exposure_of) if job.exposure_of else None
            self.done[job.path] = self.pool.submit(
                _develop, job, picture, visible, gain, self.effort.fineness
            )

    def finished(self, *, at_most: int) -> Iterator[tuple[str, bytes, dict[str, Any]]]:
        """Stills that are ready, oldest first; waits until no more than ``at_most`` are not."""
        while self.done and (len(self.done) > at_most or self.done[next(iter(self.done))].done()):
            path = next(iter(self.done))
            future = self.done.pop(path)
            with self._left_out_on_failure(path):
                still = future.result()
                if path in self.needed:
                    self.gains[path] = still.gain
                self.failed = 0
                yield still.path, still.data, still.truth
                for k, (data, sensor) in enumerate(still.others):
                    truth = {**still.truth, "scene": {**still.truth["scene"], "sensor": sensor}}
                    yield still.path.replace(".jpg", f"-s{k}.jpg"), data, truth

    def _gain_of(self, path: str) -> float:
        return self.done[path].result().gain if path in self.done else self.gains[path]

    @contextmanager
    def _left_out_on_failure(self, path: str) -> Iterator[None]:
        try:
            yield
        except Exception as wrong:
            self.failed += 1
            if not self.effort.keep_going or self.failed >= FAILURES_IN_A_ROW:
                raise
            print(f"{path} left out: {type(wrong).__name__}: {wrong}", file=sys.stderr, flush=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Developed:
    """A finished still."""

    path: str
    data: bytes
    truth: dict[str, Any]
    gain: float
    others: tuple[tuple[bytes, dict[str, Any]], ...] = ()
    """The same light by other cameras: JPEG and their looks."""


def _develop(
    job: Job,
    picture: FloatPicture,
    visible: Mapping[str, float],
    gain: float | None,
    fineness: float,
) -> Developed:
    still = assemble.finish(job.scene, picture, visible, fineness)
    used = exposure_gain(still.linear) if gain is None else gain
    data = assemble.develop_jpeg(still, gain=used * job.flicker)
    entry = assemble.truth_of(still)
    if job.scene.board is not None:
        entry["board"] = {
            **BOARD_TRUTH,
            "origin_mm": list(job.scene.board.origin_mm),
            "rvec": list(job.scene.board.rvec),
        }
    entry.update(job.extra)
    others = tuple(
        (assemble.develop_jpeg(still, gain=used * job.flicker, other=look), plain(look))
        for look in job.sensors
    )
    return Developed(path=job.path, data=data, truth=entry, gain=used, others=others)


class TarWriter:
    """Spreads files over tars below the size that one return may have."""

    def __init__(self, folder: Path, stem: str) -> None:
        self.folder = folder
        self.stem = stem
        self.count = 0
        self.size = 0
        self.tar: tarfile.TarFile | None = None

    def add(self, path: str, data: bytes) -> None:
        """One file more."""
        if self.tar is None or self.size + len(data) + 2048 > TAR_LIMIT_BYTES:
            self.close()
            # stays open from still to still; close() ends it
            self.tar = tarfile.open(self.folder / f"{self.stem}-{self.count}.tar", "w")  # noqa: SIM115
            self.count += 1
            self.size = 0
        info = tarfile.TarInfo(path)
        info.size = len(data)
        self.tar.addfile(info, io.BytesIO(data))
        self.size += len(data) + 1536

    def close(self) -> None:
        """End the tar in hand."""
        if self.tar is not None:
            self.tar.close()
            self.tar = None


class FolderWriter:
    """Writes files below a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def add(self, path: str, data: bytes) -> None:
        """One file."""
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)

    def replace(self, path: str, data: bytes) -> None:
        """A file that may be there already: readers see the old or the new one whole."""
        self.add(f"{path}.new", data)
        (self.folder / f"{path}.new").replace(self.folder / path)

    def close(self) -> None:
        """Nothing is left open."""


def truth_file(made_by: Mapping[str, Any], stills: Mapping[str, Any]) -> bytes:
    """A folder's truth.json."""
    body = {
        "format": "restmark-truth",
        "version": 1,
        "made_by": dict(made_by),
        "stills": dict(sorted(stills.items())),
    }
    return (json.dumps(body, indent=1) + "\n").encode()
