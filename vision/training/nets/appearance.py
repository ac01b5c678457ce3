"""The other way to place a ball, kept for comparison: an appearance model fitted to each crop.

``python -m vision.training.nets.appearance --set DIR --check DIR``

Principal components of centred crops, every channel brought to mean 0 and spread 1, say what
balls look like. A ball lies where the crop, shifted by the two unknowns, is likeliest: what is
left outside the components weighs by its variance, what is inside by theirs. What it gives
stands beside the shipped network's figures in the weights' card.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray

from .cut_sets import NO_BALL, STORED_SIDE, STORED_STEP_MM

STEP_MM = 1.5
DISC_MM = 36.0
"""Radius of what is looked at: the ball, its outline and a little of what is round it."""
SIDE = 2 * int(DISC_MM / STEP_MM) + 1
STAGES_MM = ((7, 1.0), (2, 0.4), (2, 0.15))
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
    """A stored crop about each shift (S, 2): (S, 3, pixels)."""
    disc, scale = _disc(), STEP_MM / STORED_STEP_MM
    soft = cv2.GaussianBlur(crop, (3, 3), 0).astype(np.float32)
    corner = (STORED_SIDE - 1) / 2 - (SIDE // 2) * scale
    out = np.empty((len(shifts_mm), 3, int(disc.sum())))
    for k, (x, y) in enumerate(shifts_mm / STORED_STEP_MM):
        where = np.array([[scale, 0, corner + x], [0, scale, corner + y]])
        way = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        out[k] = cv2.warpAffine(soft, where, (SIDE, SIDE), flags=way)[disc].T
    return out


def evened(seen: FloatArray, like: FloatArray) -> FloatArray:
    """Channels (S, 3, pixels) by the mean and spread that those of one crop (3, pixels) have."""
    middle, spread = like.mean(axis=1, keepdims=True), like.std(axis=1, keepdims=True) + 2.0
    return np.asarray((seen - middle) / spread)


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """How likely a channel of a centred crop is: components, their variances, and the rest's."""

    mean: FloatArray
    basis: FloatArray
    variance: FloatArray
    rest: float

    @classmethod
    def of(cls, balls: Balls, count: int) -> Model:
        """Learnt from centred crops, and from the same mirrored across the line of sight."""
        seen = []
        for crop, offset in zip(balls.crops, balls.offset_mm, strict=True):
            for side, turn in ((crop, 1), (crop[::-1], -1)):
                centred = looked_at(np.ascontiguousarray(side), offset[None] * (1, turn))
                seen.append(evened(centred, centred[0])[0])
        stacked = np.concatenate(seen)
        mean = stacked.mean(axis=0)
        values, vectors = np.linalg.eigh(np.cov((stacked - mean).T))
        return cls(
            mean=mean, basis=vectors[:, ::-1][:, :count].T, variance=values[::-1][:count],
            rest=float(values[::-1][count:].mean()),
        )  # fmt: skip

    def cost(self, crop: NDArray[np.uint8], shifts_mm: FloatArray) -> FloatArray:
        """Twice the negative log likelihood at each shift (S,)."""
        first = looked_at(crop, np.zeros((1, 2)))[0]
        seen = evened(looked_at(crop, shifts_mm), first) - self.mean
        told = seen @ self.basis.T
        outside = (seen**2).sum(axis=(1, 2)) - (told**2).sum(axis=(1, 2))
        inside = (told**2 / self.variance).sum(axis=(1, 2))
        return np.asarray(outside / self.rest + inside)


def placed(crop: NDArray[np.uint8], model: Model) -> FloatArray:
    """The ball's offset in the crop, mm, (2,)."""
    best = np.zeros(2)
    for count, step in STAGES_MM:
        line = np.arange(-count, count + 1) * step
        shifts = best + np.stack(np.meshgrid(line, line, indexing="ij"), -1).reshape(-1, 2)
        cost = model.cost(crop, shifts).reshape(len(line), -1)
        row, column = (int(k) for k in np.unravel_index(int(cost.argmin()), cost.shape))
        middle = best
        best = middle + np.array([line[row], line[column]])
    i, j = (min(max(k, 1), len(line) - 2) for k in (row, column))
    dips = np.array([_dip(cost[i - 1 : i + 2, j]), _dip(cost[i, j - 1 : j + 2])])
    return np.asarray(middle + np.array([line[i], line[j]]) + step * dips)


def _dip(cost: FloatArray) -> float:
    """Lowest place of the parabola through three costs, in steps from the middle one."""
    bend = cost[0] - 2 * cost[1] + cost[2]
    return float(np.clip((cost[0] - cost[2]) / (2 * bend), -1, 1)) if bend > 0 else 0.0


def figures(balls: Balls, model: Model) -> dict[str, float]:
    """Accuracy in the table frame, mm."""
    found = np.array([placed(crop, model) for crop in balls.crops])
    off = np.einsum("kij,kj->ki", balls.jacobian, found - balls.offset_mm)
    told = np.percentile(np.linalg.norm(off, axis=1), (50, 95, 99, 100)).round(3).tolist()
    names = ("median_mm", "p95_mm", "p99_mm", "worst_mm")
    return {**dict(zip(names, told, strict=True)), "balls": len(off)}


def main(arguments: list[str] | None = None) -> None:
    """Make the model from one set and measure it on another."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", type=Path, required=True, dest="folder")
    parser.add_argument("--check", type=Path, required=True)
    parser.add_argument("--count", type=int, default=150, help="components of each channel")
    given = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    model = Model.of(Balls.read(given.folder), given.count)
    print(json.dumps(figures(Balls.read(given.check), model)))


if __name__ == "__main__":
    main()
