"""Stills of known truth, calibrated at several levels of noise: are the stated errors true?

``python -m service.bench.rooms.stated_error FOLDER`` prints measured against predicted error over
the bed.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.from_still import landmarks_of, solved
from calibration.lens.file import Lens
from calibration.seen.marks import Landmarks
from calibration.solve.bearing_out import Record, as_text, bear_out, record_of
from calibration.solve.known import NAMED_ERROR_MM, TAPE_ERROR_MM, Known
from calibration.table import Table, nearest_named
from vision.still import decode_still
from vision.truth.file import TruthStill, read_truth

NOISE_LEVELS = (0.0, 1.0, 2.0, 4.0, 8.0, 12.0)
"""Added to every pixel and channel, sigma in grey levels of 255."""
SOURCES = ("lens", "tape", "nothing")
FRAMES = ("by tape", "by noses")
"""Against millimetres from the head and right noses, and against the noses all round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """How stills are calibrated."""

    sources: tuple[str, ...] = ("lens",)
    """What settles the scale: the exact lens, its height to 10 mm (1 sigma), or nothing."""
    exact_size: bool = False
    """Tell the true surface, known as if exact, instead of the nearest named size."""
    noise: tuple[float, ...] = NOISE_LEVELS
    seed: int = 1


def noisy(still_bgr: NDArray[np.uint8], sigma: float, seed: int) -> NDArray[np.uint8]:
    """The still with Gaussian noise of ``sigma`` grey levels, seeded."""
    if sigma == 0:
        return still_bgr
    noise = np.random.default_rng(seed).normal(0.0, sigma, still_bgr.shape)
    return np.clip(np.round(still_bgr + noise), 0, 255).astype(np.uint8)


def told_table(table: Table, *, exact: bool) -> tuple[Table, float]:
    """What a user tells of a true table, and to how many mm that is right, 95 %."""
    if exact:
        return Table(length_mm=table.length_mm, width_mm=table.width_mm), 0.0
    return nearest_named(table)[1], NAMED_ERROR_MM


def still_records(
    still_bgr: NDArray[np.uint8], truth: TruthStill, trial: Trial
) -> Iterator[Record | str]:
    """Two records, by tape and by noses, a source and level of noise; or a refusal's reason."""
    told, error_mm = told_table(truth.table, exact=trial.exact_size)
    known = Known(surface_error_mm=error_mm)
    rng = np.random.default_rng((trial.seed, *truth.name.encode()))
    tape_mm = float(truth.camera.position_mm[2]) + rng.normal(0.0, TAPE_ERROR_MM / 2)
    for sigma in trial.noise:
        picture = noisy(still_bgr, sigma, int(rng.integers(2**31)))
        found: dict[bool, Landmarks | CalibrationError] = {}
        for source in trial.sources:
            label = f"{source}, noise {sigma:g}"
            lens = Lens.exact(truth.camera) if source == "lens" else None
            height_mm = tape_mm if source == "tape" else None
            if (lens is None) not in found:
                found[lens is None] = _found(picture, told, truth.head, replace(known, lens=lens))
            marks = found[lens is None]
            try:
                if isinstance(marks, CalibrationError):
                    raise marks
                given = replace(known, lens=lens, camera_height_mm=height_mm)
                made = solved(marks, told, given)
            except CalibrationError as refused:
                yield f"{truth.name}, {label}: {refused.detail}"
                continue
            for frame in FRAMES:
                yield record_of(
                    made,
                    truth.camera,
                    truth.table,
                    label=f"{label}, {frame}",
                    by_tape=frame == "by tape",
                )


def _found(
    picture_bgr: NDArray[np.uint8], told: Table, head: str, known: Known
) -> Landmarks | CalibrationError:
    try:
        return landmarks_of(picture_bgr, told, head, known)
    except CalibrationError as refused:
        return refused


def _one(folder: Path, trial: Trial, truth: TruthStill) -> list[Record | str]:
    still = decode_still((folder / truth.name).read_bytes(), name=truth.name)
    return list(still_records(still, truth, trial))


def folder_records(
    folder: Path, trial: Trial, *, processes: int = 1, most: int | None = None
) -> tuple[list[Record], list[str]]:
    """Records and refusals of the first ``most`` empty stills of ``folder``."""
    stills = [still for still in read_truth(folder).values() if not still.balls][:most]
    work = partial(_one, folder, trial)
    if processes == 1:
        parts = [work(still) for still in stills]
    else:
        with ProcessPoolExecutor(processes) as pool:
            parts = list(pool.map(work, stills))
    got = [one for part in parts for one in part]
    return [one for one in got if isinstance(one, Record)], [o for o in got if isinstance(o, str)]


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the table for a folder of empty stills with its ``truth.json``."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sources", choices=SOURCES, nargs="+", default=["lens"])
    parser.add_argument("--noise", type=float, nargs="+", default=NOISE_LEVELS)
    parser.add_argument("--exact-size", action="store_true", help="tell the true surface")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--most", type=int, help="only so many stills")
    given = parser.parse_args(arguments)
    trial = Trial(
        sources=tuple(given.sources),
        exact_size=given.exact_size,
        noise=tuple(given.noise),
    )
    records, refusals = folder_records(
        given.folder, trial, processes=given.processes, most=given.most
    )
    print(as_text(bear_out(records)))
    for refusal in refusals:
        print(f"refused: {refusal}", file=sys.stderr)


if __name__ == "__main__":
    main()
