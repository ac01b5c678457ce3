"""Renders many scenes: the card renders while threads develop, and tars collect the stills."""

from __future__ import annotations

import io
import json
import sys
import tarfile
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from . import assemble
from .boards import BOARD_TRUTH
from .lens_warp import FloatPicture
from .render import Renderer
from .room import Scene
from .sensor import exposure_gain

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
    extra: Mapping[str, Any] = field(default_factory=dict)


def run_jobs(
    jobs: Sequence[Job], renderer: Renderer, *, spp: int, workers: int = 4
) -> Iterator[tuple[str, bytes, dict[str, Any]]]:
    """Yield (path, JPEG bytes, truth entry) of each job, in order.

    Threads prepare parts a few jobs ahead and develop behind; this thread renders.
    """
    done: dict[str, Future[Developed]] = {}
    waiting: list[str] = []
    with ThreadPoolExecutor(workers) as pool:
        ahead = [pool.submit(assemble.scene_parts, job.scene) for job in jobs[:workers]]
        for index, job in enumerate(jobs):
            parts = ahead.pop(0).result()
            if index + workers < len(jobs):
                ahead.append(pool.submit(assemble.scene_parts, jobs[index + workers].scene))
            start = time.perf_counter()
            picture, visible = assemble.render_pinhole(job.scene, parts, renderer, spp)
            spent = time.perf_counter() - start
            print(f"{job.path} {spent:.1f} s", file=sys.stderr, flush=True)
            gain = done[job.exposure_of].result().gain if job.exposure_of else None
            done[job.path] = pool.submit(_develop, job, picture, visible, gain)
            waiting.append(job.path)
            while len(waiting) > 2 * workers or (waiting and done[waiting[0]].done()):
                first = done[waiting.pop(0)].result()
                yield first.path, first.data, first.truth
        for path in waiting:
            last = done[path].result()
            yield last.path, last.data, last.truth


@dataclass(frozen=True, slots=True, kw_only=True)
class Developed:
    """A finished still."""

    path: str
    data: bytes
    truth: dict[str, Any]
    gain: float


def _develop(
    job: Job, picture: FloatPicture, visible: Mapping[str, float], gain: float | None
) -> Developed:
    still = assemble.finish(job.scene, picture, visible)
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
    return Developed(path=job.path, data=data, truth=entry, gain=used)


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


def truth_file(made_by: Mapping[str, Any], stills: Mapping[str, Any]) -> bytes:
    """A folder's truth.json."""
    body = {
        "format": "restmark-truth",
        "version": 1,
        "made_by": dict(made_by),
        "stills": dict(sorted(stills.items())),
    }
    return (json.dumps(body, indent=1) + "\n").encode()
