"""The rigid move that explains the shifts of many marks, most of which are right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import BoolArray, FloatArray

SIDE_SIGMA_MM = 0.25
CUT_SIDE_SIGMA_MM = 1.5
PRIOR_SIGMA = np.array(
    [0.05, 0.05, 0.05, 200.0, 200.0, 200.0] + [SIDE_SIGMA_MM] * 4 + [CUT_SIDE_SIGMA_MM] * 4
)
"""Turns (rad) and moves (mm) of the lens: wide, so that the equations always have an answer.

Then how far (mm) each side's seams look shifted without any move: light and tone curve move an
edge between bright and dark, all along a side; sights, dark on both sides of them, stay. Then
the same for those seams that are cut off at white: they say little of their own.
"""
POSE_COUNT = 6
_ROUNDS, _EARLY = 18, 5
_SETTLED = 0.02
"""Change of every residual, sigmas, under which another round brings nothing."""
_TUKEY = 4.0
"""Residuals beyond this many sigmas count for nothing."""
_LEAST_SCALE = 0.5
"""Residuals cannot show that marks are better than this times their expected sigma."""
_NEIGHBOURS = 5
_SHARED = 1.5
"""Neighbours err together (light, wood grain, JPEG blocks): sigmas grow by this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rigid:
    """A pose change (6,) in the order of vary.POSE, with its covariance."""

    change: FloatArray
    cov: FloatArray
    kept: BoolArray
    """Marks that are seen and agree."""
    scale: float
    """How much larger the residuals are than expected."""
    bend_mm: float
    """Residual of the kept marks after neighbours are averaged, rms: what is no noise."""


def rigid_move(
    slopes: FloatArray, shift_mm: FloatArray, sigma_mm: FloatArray, seen: BoolArray
) -> Rigid:
    """Robust least squares of ``shift_mm`` (N,) on ``slopes`` (N, 14): first L1, then Tukey.

    Columns as in PRIOR_SIGMA; marks that follow each other are neighbours.
    """
    rows = slopes[seen] / sigma_mm[seen, None]
    told = shift_mm[seen] / sigma_mm[seen]
    weight = np.ones(len(told))
    change, scale, off = np.zeros(len(PRIOR_SIGMA)), 1.0, told
    for turn in range(_ROUNDS if len(told) else 0):
        change = _solved(rows, told, weight, scale)
        before, off = off, told - rows @ change
        scale = max(1.4826 * _middle(np.abs(off)), _LEAST_SCALE)
        if turn > _EARLY and np.abs(off - before).max() < _SETTLED:
            break
        if turn < _EARLY:
            weight = 1.0 / np.maximum(np.abs(off) / scale, 0.1)
        else:
            weight = np.maximum(1.0 - (off / (_TUKEY * scale)) ** 2, 0.0) ** 2
    good = np.abs(off) < _TUKEY * scale
    kept = np.zeros(len(shift_mm), dtype=bool)
    kept[np.flatnonzero(seen)[good]] = True
    residual_mm = (off * sigma_mm[seen])[good]
    spread = scale * _SHARED * _together(off[good])
    normal = rows[good].T @ rows[good] / spread**2 + np.diag(PRIOR_SIGMA**-2.0)
    return Rigid(
        change=change[:POSE_COUNT],
        cov=np.asarray(np.linalg.inv(normal)[:POSE_COUNT, :POSE_COUNT], dtype=float),
        kept=kept,
        scale=scale,
        bend_mm=_bend(residual_mm),
    )


def _middle(values: FloatArray) -> float:
    """The upper median: one pass, no checks."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _bend(residual: FloatArray) -> float:
    """Rms of the residuals after neighbours are averaged; 0 for too few."""
    if len(residual) < _NEIGHBOURS:
        return 0.0
    smooth = np.convolve(residual, np.full(_NEIGHBOURS, 1 / _NEIGHBOURS), mode="valid")
    return float(np.sqrt(np.mean(smooth**2)))


def _together(residual: FloatArray) -> float:
    """How much larger averages of neighbours are than independent errors leave them, 1 or more.

    Lamps that were moved shift whole stretches of the rails' edges.
    """
    alone = float(np.sqrt(np.mean(residual**2) / _NEIGHBOURS)) if len(residual) else 0.0
    return max(1.0, _bend(residual) / alone) if alone > 0 else 1.0


def _solved(rows: FloatArray, told: FloatArray, weight: FloatArray, scale: float) -> FloatArray:
    weighted = rows * weight[:, None] / scale**2
    normal = weighted.T @ rows + np.diag(PRIOR_SIGMA**-2.0)
    return np.asarray(np.linalg.solve(normal, weighted.T @ told), dtype=float)
