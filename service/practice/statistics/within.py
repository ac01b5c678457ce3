"""Half-within and nine-in-ten-within distances (CEP50, CEP90), each with its 95 % interval.

About the average landing spot they tell the spread. For a round scatter the distance is the usual
one, 1.1774·σ and 2.1460·σ with σ = √(S/(2(n − 1)))/c4(2n − 1). That formula, with 2(n − 1) degrees
of freedom, holds for a round scatter only: with spreads of 2 to 1 its interval covers 79 to 93 %
instead of 95. Here distance and degrees of freedom follow the measured elongation, and the
interval is the jackknife's, which covers 93 to 97 % of round and of long scatter from 5 attempts
on. From 40 attempts on the ordered distances themselves are taken and nothing is assumed.

About the wanted spot the distances tell bias and spread together; there nothing is assumed at
any number: the interval runs between ordered distances.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from .jackknife import INTERVAL_LEAST, covariances_without, student_half_width
from .means import TAILS, Array

HALF, NINE_IN_TEN = 0.5, 0.9
POINT_LEAST = 3
ORDERED_LEAST = 40
"""From so many attempts on nothing is assumed about the scatter."""
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


def radius_of_average(spots_mm: ArrayLike, share: float) -> float | None:
    """That radius alone, without its interval."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    if n < POINT_LEAST:
        return None
    if n >= ORDERED_LEAST:
        return _ordered_middle(np.sort(_from_average(spots)), share)
    return float(_radius(np.cov(spots.T), n - 1, share))


def within_of_average(spots_mm: ArrayLike, share: float) -> Distance:
    """Radius about the average landing spot that holds ``share`` (½ or 9 in 10) of the stops."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n, radius = len(spots), radius_of_average(spots_mm, share)
    if radius is None:
        return Distance(share=share, n=n, distance_mm=None, low_mm=None, high_mm=None)
    if n >= ORDERED_LEAST:
        return within_of_wanted(_from_average(spots), share)
    low = high = None
    if n >= INTERVAL_LEAST:
        without = _radius(covariances_without(spots), n - 2, share)
        if without.min() > 0:
            factor = math.exp(student_half_width(np.log(without)))
            low, high = radius / factor, radius * factor
    return Distance(share=share, n=n, distance_mm=radius, low_mm=low, high_mm=high)


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
        distance_mm=_ordered_middle(ordered, share),
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


def _from_average(spots: Array) -> Array:
    """Distances (n,) from the average of spots (n, 2)."""
    off, n = spots - spots.mean(axis=0), len(spots)
    # distances from their own mean are this much too short
    return np.asarray(np.hypot(off[:, 0], off[:, 1]) * math.sqrt(n / (n - 1)))


def _ordered_middle(ordered: Array, share: float) -> float:
    return float(np.quantile(ordered, share, method="median_unbiased"))


def _radius(cov: Array, m: int, share: float) -> Array:
    """Radii (...,) of covariances (..., 2, 2) with m degrees of freedom each."""
    total = np.trace(cov, axis1=-2, axis2=-1)
    freedom = _freedom(total, (cov**2).sum(axis=(-2, -1)), m)
    # ratio of variances that belongs to those degrees of freedom
    round_share = np.clip(freedom / m - 1, 1e-9, 1.0)
    ratio = (1 - np.sqrt(1 - round_share**2)) / round_share
    correction = np.exp(special.gammaln((freedom + 1) / 2) - special.gammaln(freedom / 2))
    sigma = np.sqrt(total / 2) / (correction * np.sqrt(2 / freedom))
    return np.asarray(radius_factor(ratio, share) * sigma)


def _freedom(total: Array, squares: Array, m: int) -> Array:
    """Degrees of freedom of the total variance, m when all on one line to 2m when round.

    m·(tr Σ)²/tr Σ² with the unbiased estimates of both parts from m degrees of freedom.
    """
    both = m * m / ((m - 1) * (m + 2)) * (squares - total**2 / m)
    known = both > 0
    found = m * (total**2 - 2 * both / m) / np.where(known, both, 1.0)
    return np.where(known, np.clip(found, m, 2 * m), 2.0 * m)


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
