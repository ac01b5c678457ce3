"""Speed against line: which of the two scatters more, and whether that can be said yet.

Both come from the same stops and may go together, so the ratio of their spreads has the interval
of Pitman and Morgan: sum and difference of two variables are uncorrelated exactly when their
spreads are equal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from .means import TAILS
from .rates import POWER, Z

SPEED, LINE = "speed", "line"
LEAST = 4
"""The fewest attempts from which a ratio of spreads is stated."""
MOST_MISSING = 1000
"""More missing attempts than this mean that the two are as good as equal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakSide:
    """Spread along the arrival line (speed) over spread across it (line), 95 % interval."""

    n: int
    side: str | None
    """``speed`` or ``line`` where the interval leaves out 1; None: it cannot be said yet."""
    ratio: float | None
    low: float | None
    high: float | None
    p_value: float | None
    """Chance of a ratio at least this far from 1 if both spreads were equal."""
    attempts_missing: int | None
    """Attempts missing until such a ratio shows four times in five; 0 where it shows, None
    where too few attempts, or nearly equal spreads, allow no forecast."""


def weak_side(spots_mm: ArrayLike) -> WeakSide:
    """The weaker of speed and line from spots (n, 2), along and across the arrival line."""
    return weak_side_within([np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)])


def weak_side_within(sessions_mm: Sequence[ArrayLike]) -> WeakSide:
    """The same from the spots of several sessions, each about its own average."""
    parts = [np.asarray(part, dtype=np.float64).reshape(-1, 2) for part in sessions_mm]
    parts = [part for part in parts if len(part)]
    n = sum(map(len, parts))
    # degrees of freedom of the correlation of sum and difference
    freedom = n - len(parts) - 1
    nothing = WeakSide(
        n=n, side=None, ratio=None, low=None, high=None, p_value=None, attempts_missing=None
    )
    if freedom < LEAST - 2:
        return nothing
    apart = np.concatenate([part - part.mean(axis=0) for part in parts])
    products = apart.T @ apart
    along, across, both = float(products[0, 0]), float(products[1, 1]), float(products[0, 1])
    if not (along > 0 and across > 0):
        return nothing
    ratio = math.sqrt(along / across)
    shared = min(both**2 / (along * across), 1.0)
    half = 2 * (1 - shared) * float(stats.t.ppf(TAILS[1], freedom)) ** 2 / freedom
    # square root of K ± √(K² − 1) with K = 1 + half
    factor = math.sqrt(1 + half + math.sqrt(half * (half + 2)))
    low, high = ratio / factor, ratio * factor
    side = SPEED if low > 1 else LINE if high < 1 else None
    return WeakSide(
        n=n,
        side=side,
        ratio=ratio,
        low=low,
        high=high,
        p_value=_p_value(ratio, shared, freedom),
        attempts_missing=0 if side else _missing(ratio, shared, freedom + 2),
    )


def _link(ratio: float, shared: float) -> float:
    """Correlation of sum and difference that belongs to a ratio of spreads."""
    square = ratio**2
    return (square - 1) / math.sqrt(max((square + 1) ** 2 - 4 * shared * square, 1e-300))


def _p_value(ratio: float, shared: float, freedom: int) -> float:
    link = min(abs(_link(ratio, shared)), 1.0)
    if link == 1.0:
        return 0.0
    student = link * math.sqrt(freedom / (1 - link**2))
    return 2 * float(stats.t.sf(student, freedom))


def _missing(ratio: float, shared: float, n: int) -> int | None:
    """From Fisher's transformation of that correlation."""
    link = abs(_link(ratio, shared))
    if link < 1e-9:
        return None
    found = Z + float(stats.norm.ppf(POWER))
    needed = 3 + math.ceil((found / math.atanh(min(link, 1 - 1e-12))) ** 2)
    missing = max(needed - n, 1)
    return missing if missing <= MOST_MISSING else None
