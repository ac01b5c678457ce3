"""Stills as a proof sees them: places before overlapping balls are moved apart, with their error.

A reading moves balls that overlap apart until they touch. That is right for a reading and wrong
for a gauge: it would hide just the error that is to be measured.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from vision.layout import Layout
from vision.name.taught import Taught
from vision.read import Reader

LEAST_VARIANCE_MM2 = 1e-4
"""What is left of a variance of which the calibration's share was taken out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenStill:
    """K balls of one still."""

    still: str
    names: tuple[str, ...]
    doubtful: tuple[bool, ...]
    place_mm: FloatArray
    """(K, 2), table frame, as seen."""
    picture_cov_mm2: FloatArray
    """What the picture leaves open, (K, 2, 2): independent from ball to ball."""

    def __len__(self) -> int:
        return len(self.names)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """Something that is no gauge, and why."""

    still: str
    code: str
    """``unreadable``, ``obstructed``, ``same-picture``, ``apart``, ``off-cushion``, ``told``."""
    balls: tuple[str, ...] = ()
    off_mm: float | None = None
    detail: str = ""


def seen_of(
    layout: Layout, made: Calibration, unpushed_mm: dict[str, tuple[float, float]]
) -> SeenStill:
    """A layout read with ``made`` (without a proof's factor), by its places before the pushing."""
    pushed = np.array([ball.centre_mm for ball in layout.balls], dtype=float).reshape(-1, 2)
    whole = np.array([ball.cov_mm2 for ball in layout.balls], dtype=float).reshape(-1, 2, 2)
    size, turn = np.linalg.eigh(whole - made.own_covariance_mm2(pushed))
    size = np.maximum(size, LEAST_VARIANCE_MM2)
    return SeenStill(
        still=layout.still,
        names=tuple(ball.id for ball in layout.balls),
        doubtful=tuple(ball.doubtful for ball in layout.balls),
        place_mm=np.array(
            [unpushed_mm.get(ball.id, ball.centre_mm) for ball in layout.balls], dtype=float
        ).reshape(-1, 2),
        picture_cov_mm2=np.asarray((turn * size[:, None, :]) @ np.swapaxes(turn, 1, 2)),
    )


def look(
    stills: Iterable[Path], made: Calibration, *, taught: Taught | None = None
) -> tuple[tuple[SeenStill, ...], tuple[LeftOut, ...]]:
    """Read stills by themselves; what cannot be read, or comes twice, is left out and said.

    A factor of an earlier proof is put aside: what is proved is the error without it.
    """
    bare = replace(made, proof=None)
    reader = Reader(bare, taught=taught)
    seen: list[SeenStill] = []
    left: list[LeftOut] = []
    known: dict[str, str] = {}
    for path in stills:
        name = str(path)
        try:
            data = path.read_bytes()
            before = known.setdefault(hashlib.sha256(data).hexdigest(), name)
            if before != name:
                left.append(LeftOut(still=name, code="same-picture", detail=before))
                continue
            layout = reader.read_still(data, name=name, afresh=True)
        except OSError as wrong:
            left.append(LeftOut(still=name, code="unreadable", detail=str(wrong)))
            continue
        except RestmarkError as refused:
            left.append(LeftOut(still=name, code="unreadable", detail=refused.detail))
            continue
        if layout.obstructed:
            left.append(LeftOut(still=name, code="obstructed"))
        else:
            seen.append(seen_of(layout, bare, reader.last_unpushed_mm))
    return tuple(seen), tuple(left)
