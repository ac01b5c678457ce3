"""The other way to place a ball, kept for comparison: an appearance model fitted to each crop.

``python -m vision.training.nets.appearance --set DIR --check DIR``

Principal components of centred crops, every channel brought to mean 0 and spread 1, span what
balls look like. A ball lies where the crop, shifted by the two unknowns, leaves least outside
that span. What it gives stands beside the shipped network's figures in the weights' card.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from .cut_sets import NO_BALL, STORED_SIDE, STORED_STEP_MM

FloatArray = NDArray[np.float64]
STEP_MM = 1.5
DISC_MM = 36.0
"""Radius of what is looked at: the ball, its outline and a little of what is round it."""
SIDE = 2 * int(DISC_MM / STEP_MM) + 1
STAGES_MM = ((8, 1.0), (2, 0.4), (2, 0.15))
"""Steps to each side and their size; the last ends in a parabola."""
VISIBLE = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Balls:
    """Balls at least 80 % visible of a cut set's clear stills."""

    crops: NDArray[np.uint8]
    offset_mm: FloatArray
    jacobian: FloatArray

    @classmethod
    def read(cls, folder: Path) -> Balls:
        """From a cut set's folder."""
        part = {name: np.load(folder / f"{name}.npy") for name in
                ("crops", "offset_mm", "kind", "visible", "jacobian", "still")}  # fmt: skip
        clear = np.array([
            "1 " not in {line[:2] for line in path.read_text(encoding="utf-8").splitlines()}
            for path in sorted((folder / "labels").glob("*.txt"))
        ])  # fmt: skip
        good = (part["kind"] != NO_BALL) & (part["visible"] >= VISIBLE)
        good &= clear[part["still"].astype(int)]
        names = ("crops", "offset_mm", "jacobian")
        return cls(**{name: part[name][good] for name in names})


def _disc() -> NDArray[np.bool_]:
    reach = (np.arange(SIDE) - SIDE // 2) * STEP_MM
    return np.asarray(np.hypot(reach[:, None], reach[None]) <= DISC_MM)


def looked_at(crop: NDArray[np.uint8], shifts_mm: FloatArray) -> FloatArray:
    """A stored crop about each shift (S, 2), every channel at mean 0, spread 1: (S, 3, pixels)."""
    disc, scale = _disc(), STEP_MM / STORED_STEP_MM
    soft = cv2.GaussianBlur(crop, (3, 3), 0).astype(np.float32)
    out = np.empty((len(shifts_mm), 3, int(disc.sum())))
    for k, (x, y) in enumerate(shifts_mm):
        corner = (STORED_SIDE - 1) / 2 - (SIDE // 2) * scale
        map_ = np.array(
            [[scale, 0, corner + x / STORED_STEP_MM], [0, scale, corner + y / STORED_STEP_MM]]
        )
        seen = cv2.warpAffine(
            soft, map_, (SIDE, SIDE), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        )
        out[k] = seen[disc].T
    out -= out.mean(axis=2, keepdims=True)
    return np.asarray(out / (out.std(axis=2, keepdims=True) + 2.0))


def components(balls: Balls, count: int) -> FloatArray:
    """Mean and principal components of one channel's crops, orthonormal, (count, pixels)."""
    seen = []
    for crop, offset in zip(balls.crops, balls.offset_mm, strict=True):
        seen.append(looked_at(crop, offset[None])[0])
        seen.append(looked_at(crop[::-1], offset[None] * (1, -1))[0])  # light comes as often so
    stacked = np.concatenate(seen)
    _, vectors = np.linalg.eigh(stacked.T @ stacked)
    return np.asarray(vectors[:, ::-1][:, :count].T)


def left_over(crop: NDArray[np.uint8], shifts_mm: FloatArray, basis: FloatArray) -> FloatArray:
    """What the components cannot explain at each shift, (S,)."""
    seen = looked_at(crop, shifts_mm)
    told = seen @ basis.T
    return np.asarray((seen**2).sum(axis=(1, 2)) - (told**2).sum(axis=(1, 2)))


def placed(crop: NDArray[np.uint8], basis: FloatArray) -> FloatArray:
    """The ball's offset in the crop, mm, (2,)."""
    best = np.zeros(2)
    for count, step in STAGES_MM:
        line = np.arange(-count, count + 1) * step
        shifts = best + np.stack(np.meshgrid(line, line, indexing="ij"), -1).reshape(-1, 2)
        cost = left_over(crop, shifts, basis).reshape(len(line), -1)
        row, column = np.unravel_index(int(cost.argmin()), cost.shape)
        best = best + (line[row], line[column])
    i, j = (int(np.clip(k, 1, len(line) - 2)) for k in (row, column))
    fine = [_dip(cost[i - 1 : i + 2, j]), _dip(cost[i, j - 1 : j + 2])]
    return np.asarray(best + step * np.array(fine) + (line[i] - line[row], line[j] - line[column]))


def _dip(cost: FloatArray) -> float:
    """Lowest place of the parabola through three costs, in steps from the middle one."""
    bend = cost[0] - 2 * cost[1] + cost[2]
    return float(np.clip((cost[0] - cost[2]) / (2 * bend), -1, 1)) if bend > 0 else 0.0


def figures(balls: Balls, basis: FloatArray) -> dict[str, float]:
    """Accuracy in the table frame, mm."""
    found = np.array([placed(crop, basis) for crop in balls.crops])
    off = np.einsum("kij,kj->ki", balls.jacobian, found - balls.offset_mm)
    far = np.linalg.norm(off, axis=1)
    told = dict(zip(("median_mm", "p95_mm", "p99_mm", "worst_mm"),
                    np.percentile(far, (50, 95, 99, 100)).round(3).tolist(), strict=True))  # fmt: skip
    return {**told, "balls": len(far)}


def main(arguments: list[str] | None = None) -> None:
    """Make the model from one set and measure it on another."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", type=Path, required=True, dest="folder")
    parser.add_argument("--check", type=Path, required=True)
    parser.add_argument("--count", type=int, default=60, help="components of each channel")
    given = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    basis = components(Balls.read(given.folder), given.count)
    print(json.dumps(figures(Balls.read(given.check), basis)))


if __name__ == "__main__":
    main()
