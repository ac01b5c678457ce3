"""Means and spreads of lengths with their intervals, corrected for the number of attempts.

Student's t for a mean holds exactly for normal scatter, the jackknife for a standard deviation
nearly so, and both bear mishits. Distances that are 0 inside the zone are neither normal nor
continuous: t covers only 88 to 90 % of them at 5 to 10 attempts, BCa resampling 83 to 90 %. Their
mean is therefore taken as the share of misses times the mean of the misses, the share from its
Jeffreys distribution, the mean from Student's t with Hall's correction for skewness; that covers
93 to 97 % where it can usually be stated, and more where it seldom can.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from .jackknife import INTERVAL_LEAST, student_half_width, variances_without
from .rates import LEVEL

Array = NDArray[np.float64]
Values = Sequence[float] | Array
Places = NDArray[np.intp]
SPREAD_LEAST = 3
"""The fewest attempts from which a spread is estimated."""
AWAY_LEAST = 3
"""The fewest values above 0 from which the mean of distances gets an interval."""
_DRAWS_LOG2 = 12
_CELL = 8
"""So many draws lie from one node to the next."""
_SLACK = 1e-9
"""More than rounding can turn the order of two neighbours."""
_SEED = 20
TAILS = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
"""Lower and upper end of a 95 % interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean with its 95 % interval, mm; None where n does not allow it."""

    n: int
    mean_mm: float | None
    low_mm: float | None
    high_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A mean chance with its 95 % interval; None where n does not allow it."""

    n: int
    mean: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A standard deviation, corrected for the number of attempts, with its 95 % interval, mm."""

    n: int
    sigma_mm: float | None
    low_mm: float | None
    high_mm: float | None


def middle_of(values: Values) -> float | None:
    """Their mean alone; None of nothing."""
    return float(np.mean(values)) if len(values) else None


def sigma_of(values: Values) -> float | None:
    """Standard deviation over c4 alone, for n ≥ 3."""
    n = len(values)
    return None if n < SPREAD_LEAST else float(np.std(values, ddof=1)) / c4(n)


def mean(values_mm: Values) -> Mean:
    """Mean with Student's 95 % interval (n ≥ 2)."""
    n, middle = len(values_mm), middle_of(values_mm)
    if middle is None:
        return Mean(n=0, mean_mm=None, low_mm=None, high_mm=None)
    if n == 1:
        return Mean(n=1, mean_mm=middle, low_mm=None, high_mm=None)
    half = float(stats.t.ppf(TAILS[1], n - 1)) * float(np.std(values_mm, ddof=1) / n**0.5)
    return Mean(n=n, mean_mm=middle, low_mm=middle - half, high_mm=middle + half)


def mean_distance(distances_mm: Values) -> Mean:
    """Mean of values that are never below 0 and may often be 0.

    The interval is stated from three values above 0 on; fewer say too little about their size.
    """
    ends = _distance_ends(np.asarray(distances_mm, dtype=np.float64))
    low, high = ends if ends is not None else (None, None)
    middle = middle_of(distances_mm)
    return Mean(n=len(distances_mm), mean_mm=middle, low_mm=low, high_mm=high)


def mean_share(chances: Values) -> Share:
    """Mean of chances from 0 to 1, many of which may be 0."""
    found = mean_distance(chances)
    high = None if found.high_mm is None else min(found.high_mm, 1.0)
    return Share(n=found.n, mean=found.mean_mm, low=found.low_mm, high=high)


def c4(n: int) -> float:
    """Expected sample standard deviation of n normal values as a share of the true one."""
    return math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2)) * math.sqrt(2 / (n - 1))


def spread(values_mm: Values) -> Spread:
    """Standard deviation over c4 for n ≥ 3, with the jackknife's interval for n ≥ 5."""
    values = np.asarray(values_mm, dtype=np.float64)
    n = len(values)
    if n < SPREAD_LEAST:
        return Spread(n=n, sigma_mm=None, low_mm=None, high_mm=None)
    deviation = float(np.std(values, ddof=1))
    low = high = None
    if n >= INTERVAL_LEAST and deviation > 0:
        without = variances_without(values)
        if without.min() > 0:
            logs = np.log(without) / 2
            # the jackknife's own correction of the logarithm's bias
            middle = n * math.log(deviation) - (n - 1) * float(logs.mean())
            half = student_half_width(logs)
            low, high = math.exp(middle - half), math.exp(middle + half)
    return Spread(n=n, sigma_mm=deviation / c4(n), low_mm=low, high_mm=high)


def _distance_ends(distances: Array) -> tuple[float, float] | None:
    """2.5 and 97.5 % of the share of misses times the mean of the misses, over even draws.

    Both factors rise or fall with their draw, so that a few hundred nodes bound every product;
    only those that may be one of the two ends are worked out.
    """
    away = distances[distances > 0]
    n, k = len(distances), len(away)
    if k < AWAY_LEAST or float(np.ptp(away)) == 0:
        return None
    draws = _draws()
    share_nodes = _shares(draws.share[draws.share_nodes], k, n)
    mean_nodes = _means(draws.student[draws.student_nodes], away)
    least = share_nodes[draws.share_cell] * mean_nodes[draws.student_cell + 1] * (1 - _SLACK)
    most = share_nodes[draws.share_cell + 1] * mean_nodes[draws.student_cell] * (1 + _SLACK)
    last = len(least) - 1
    low, high = (math.floor(end * last) for end in TAILS)
    from_least = np.partition(least, (low, high))
    from_most = np.partition(most, (low + 1, high + 1))
    near = (most >= from_least[low]) & (least <= from_most[low + 1])
    near |= (most >= from_least[high]) & (least <= from_most[high + 1])
    least[near] = _shares(draws.share[near], k, n) * _means(draws.student[near], away)
    found = np.quantile(least, TAILS)
    return float(found[0]), float(found[1])


def _shares(draws: Array, k: int, n: int) -> Array:
    """Shares that even draws from 0 to 1 stand for, k of n seen (Jeffreys)."""
    if k == n:
        return np.ones(len(draws))
    return np.asarray(special.betaincinv(k + 0.5, n - k + 0.5, draws))


def _means(draws: Array, values: Array) -> Array:
    """True means that even draws from 0 to 1 stand for, by Student's t; they fall with the draw.

    Corrected for skewness (Hall, 1992); never below 0.
    """
    n, deviation = len(values), float(np.std(values, ddof=1))
    students = special.stdtrit(n - 1, draws)
    # adjusted for n: few values hide most of their skewness
    skew = float(((values - values.mean()) ** 3).sum()) * n / ((n - 1) * (n - 2) * deviation**3)
    scaled = students / math.sqrt(n) - skew / (6 * n)
    if abs(skew) < 1e-6:
        return np.maximum(values.mean() - deviation * scaled, 0.0)
    root = np.cbrt(1 + skew * scaled) - 1
    return np.maximum(values.mean() - deviation * 3 / skew * root, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draws:
    """Even draws (n,) of a share and of Student's t, and between which nodes each lies."""

    share: Array
    student: Array
    share_nodes: Places
    """Every eighth of the draws in rising order, and the last."""
    student_nodes: Places
    share_cell: Places
    """For each draw the node below it; the next node is above it."""
    student_cell: Places


@lru_cache(maxsize=1)
def _draws() -> _Draws:
    even = stats.qmc.Sobol(2, seed=_SEED).random_base2(_DRAWS_LOG2)
    columns = (even[:, 0].copy(), np.clip(even[:, 1], 1e-9, 1 - 1e-9))
    orders = [np.argsort(column, kind="stable") for column in columns]
    nodes = [np.append(order[:-1:_CELL], order[-1]) for order in orders]
    cells = [np.minimum(np.argsort(order) // _CELL, len(order) // _CELL - 1) for order in orders]
    return _Draws(
        share=columns[0], student=columns[1], share_nodes=nodes[0], student_nodes=nodes[1],
        share_cell=cells[0], student_cell=cells[1],
    )  # fmt: skip
