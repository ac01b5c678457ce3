"""Half-within and nine-in-ten-within distances (CEP50, CEP90), each with its 95 % interval.

About the average landing spot they tell the spread. Stops are taken as normally scattered about
it, along and across each with a spread of its own. The usual circular formula with 2(n − 1)
degrees of freedom holds only for a round scatter: with spreads of 2 to 1 its interval covers 79
to 90 % instead of 95. Here the degrees of freedom follow the measured elongation, and the
interval comes from draws of the covariance given the attempts (inverse Wishart); it covers 93 to
97 % from 5 attempts on at any elongation. For a round scatter the distance is the usual one,
1.1774·σ and 2.1460·σ with σ = √(S/(2(n − 1)))/c4(2n − 1).

About the wanted spot they tell bias and spread together; there nothing is assumed: the interval
runs between ordered distances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from .means import TAILS, Array, c4_of

HALF, NINE_IN_TEN = 0.5, 0.9
INTERVAL_LEAST = 5
"""The fewest attempts from which an interval about the average landing spot is stated."""
POINT_LEAST = 3
_EXTRA_FREEDOM = {HALF: 0.0, NINE_IN_TEN: 0.5}
"""Added to n − 1 in the draws; chosen so that the interval covers 95 % of round scatters too."""
_DRAWS_LOG2 = 11
_SEED = 21
_RATIOS = np.linspace(0.0, 1.0, 129)
_ANGLES = (np.arange(256) + 0.5) / 256 * np.pi
_LEAST_RATIO = 2e-4
"""A flatter scatter than this is taken as a line."""
_LOOSE = 0.035
"""An end whose chance to fail is up to this is stated: at n = 5 the whole covers 93.75 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Distance:
    """A distance that holds a share of the stops, with its 95 % interval, mm."""

    share: float
    n: int
    distance_mm: float | None
    low_mm: float | None
    high_mm: float | None


def within_of_average(spots_mm: ArrayLike, share: float) -> Distance:
    """Radius about the average landing spot that holds ``share`` (½ or 9 in 10) of the stops."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    if n < POINT_LEAST:
        return Distance(share=share, n=n, distance_mm=None, low_mm=None, high_mm=None)
    scatter = np.cov(spots.T) * (n - 1)
    low, high = _ends(scatter, n, share) if n >= INTERVAL_LEAST else (None, None)
    point = _point(scatter, n, share)
    return Distance(share=share, n=n, distance_mm=point, low_mm=low, high_mm=high)


def within_of_wanted(distances_mm: ArrayLike, share: float) -> Distance:
    """Distance from the wanted spot that holds ``share`` of the stops, of any distribution.

    ``distances_mm`` (n,). No figure from fewer than 1/(1 − share) attempts; no interval where
    the ends would have to lie outside what was seen.
    """
    ordered = np.sort(np.asarray(distances_mm, dtype=np.float64))
    n = len(ordered)
    if n < POINT_LEAST or n * (1 - share) < 1 - 1e-9:
        return Distance(share=share, n=n, distance_mm=None, low_mm=None, high_mm=None)
    low = _ordered_end(ordered, share)
    high = _ordered_end(-ordered[::-1], 1 - share)
    both = low is not None and high is not None
    return Distance(
        share=share,
        n=n,
        distance_mm=float(np.quantile(ordered, share, method="median_unbiased")),
        low_mm=low if both else None,
        high_mm=None if high is None or not both else -high,
    )


def radius_factor(ratio: ArrayLike, share: float) -> Array:
    """Radius that holds ``share`` of a centred normal scatter, over √(half its total variance).

    ``ratio`` is the smaller variance over the larger; 1 gives 1.1774 and 2.1460.
    """
    return np.interp(np.asarray(ratio, dtype=np.float64), _RATIOS, _factors(share))


@lru_cache(maxsize=8)
def _factors(share: float) -> Array:
    """``radius_factor`` at ``_RATIOS``, by bisection of the integral over directions."""
    ratios = np.maximum(_RATIOS, _LEAST_RATIO)[:, None]
    large, small = 2 / (1 + ratios), 2 * ratios / (1 + ratios)
    weight = np.cos(_ANGLES) ** 2 / large + np.sin(_ANGLES) ** 2 / small
    low, high = np.zeros(len(ratios)), np.full(len(ratios), 8.0)
    for _ in range(40):
        radius = (low + high) / 2
        held = (-np.expm1(-(radius[:, None] ** 2) * weight / 2) / weight).mean(axis=1)
        less = held / np.sqrt(large * small)[:, 0] < share
        low, high = np.where(less, radius, low), np.where(less, high, radius)
    # a line has its own closed form; there the integral over directions is too sharp
    low[0] = math.sqrt(2 * stats.chi2.ppf(share, 1))
    return low


def _point(scatter: Array, n: int, share: float) -> float:
    """The distance itself, with degrees of freedom after the measured elongation."""
    total = float(np.trace(scatter))
    if total == 0:
        return 0.0
    freedom = _freedom(scatter / (n - 1), n - 1)
    # ratio of variances that belongs to those degrees of freedom
    round_share = min(max(freedom / (n - 1) - 1, 0.0), 1.0)
    ratio = 0.0 if round_share == 0 else (1 - math.sqrt(1 - round_share**2)) / round_share
    sigma = math.sqrt(total / (2 * (n - 1))) / c4_of(freedom)
    return float(radius_factor(ratio, share)) * sigma


def _freedom(cov: Array, m: int) -> float:
    """Degrees of freedom of the total variance, m when all on one line to 2m when round.

    m·(tr Σ)²/tr Σ² with the unbiased estimates of both parts from m degrees of freedom.
    """
    total, squares = float(np.trace(cov)), float((cov**2).sum())
    both = m * m / ((m - 1) * (m + 2)) * (squares - total**2 / m)
    if both <= 0:
        return 2.0 * m
    return min(max(m * (total**2 - 2 * both / m) / both, float(m)), 2.0 * m)


def _ends(scatter: Array, n: int, share: float) -> tuple[float, float]:
    """Ends of the interval: quantiles of the radius over draws of the covariance."""
    one, two, cross = _wishart_root(n - 1 + _EXTRA_FREEDOM[share])
    a, b, c = scatter[0, 0], scatter[0, 1], scatter[1, 1]
    left = math.sqrt(a)
    below = b / left if left else 0.0
    right = math.sqrt(max(c - below**2, 0.0))
    # Σ = T·Tᵀ, T = L·B⁻ᵀ with L the root of the scatter and B the root of the Wishart draw
    t11, t12 = left / one, -left * cross / (one * two)
    t21, t22 = below / one, right / two - below * cross / (one * two)
    half = (t11**2 + t12**2 + t21**2 + t22**2) / 2
    turn = np.hypot((t11**2 + t12**2 - t21**2 - t22**2) / 2, t11 * t21 + t12 * t22)
    largest = half + turn
    ratio = np.divide(
        np.maximum(half - turn, 0), largest, out=np.zeros_like(half), where=largest > 0
    )
    low, high = np.quantile(np.sqrt(half) * radius_factor(ratio, share), TAILS)
    return float(low), float(high)


@lru_cache(maxsize=64)
def _wishart_root(freedom: float) -> tuple[Array, Array, Array]:
    """Even draws of the lower triangular root (Bartlett): both diagonals and what is between."""
    even = stats.qmc.Sobol(3, seed=_SEED).random_base2(_DRAWS_LOG2)
    even = np.clip(even, 1e-9, 1 - 1e-9)
    one = np.sqrt(stats.chi2.ppf(even[:, 0], freedom))
    two = np.sqrt(stats.chi2.ppf(even[:, 1], freedom - 1))
    return one, two, special.ndtri(even[:, 2])


def _ordered_end(ordered: Array, share: float) -> float | None:
    """Lower 97.5 % end for the ``share`` quantile, between two ordered values."""
    found = _ordered_place(len(ordered), share)
    if found is None:
        return None
    place, weight = found
    return float(ordered[place] * (1 - weight) + ordered[place + 1] * weight)


@lru_cache(maxsize=256)
def _ordered_place(n: int, share: float) -> tuple[int, float] | None:
    """The ordered value at which that end lies, and how far on towards the next one."""
    fails = stats.binom.cdf(np.arange(n), n, share)
    if fails[0] > _LOOSE:
        return None
    place = int(np.searchsorted(fails, TAILS[0], side="right")) - 1
    if place < 0:
        return 0, 0.0
    here, after, wanted = special.ndtri([fails[place], fails[place + 1], TAILS[0]])
    return place, float((wanted - here) / (after - here))
