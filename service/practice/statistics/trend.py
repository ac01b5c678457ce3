"""Trends over sessions: is there one, how large is it, and how many sessions are missing.

A figure of each session: Mann–Kendall's test, exact, and Sen's slope. Sen's interval runs between
ordered slopes; at few sessions the possible levels lie far apart (98.3 or 91.7 % at five), so its
ends lie between two of them. A rate: logistic regression with the sessions as clusters. What the
sessions scatter beyond, or below, chance enters by the measured dispersion with Student's t on
G − 2 degrees; that covers 94 to 97 % at 5 to 50 sessions of a dozen attempts, the usual
cluster-robust errors only 92 to 96 %, and plain logistic regression 75 to 97 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from .means import TAILS, Array
from .rates import LEVEL, POWER

TREND_LEAST = 5
"""Four sessions cannot reach p < 0.05 (they end at 0.083); five can (0.017)."""
MOST_SESSIONS = 200
"""A trend that would need more sessions than this is as good as none."""
_EXACT_MOST = 7
_COUNTED_MOST = 400
"""Up to so many sessions the orders of values are counted; beyond, their number is taken as
normal, which at 400 moves an interval's end by half a slope in 79,800."""
_SHARED_LEAST = 171
"""From so many values on the library loses the last digits of small chances as well."""
_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A figure over sessions: its change a session with 95 % interval, and Mann–Kendall's test."""

    sessions: int
    slope: float | None
    """Sen's slope: change of the figure from one session to the next."""
    low: float | None
    high: float | None
    p_value: float | None
    claimed: bool
    sessions_missing: int | None
    """Sessions until a trend like this shows four times in five; at least what five lack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTrend:
    """A rate over sessions by logistic regression with the sessions as clusters."""

    sessions: int
    attempts: int
    first_share: float | None
    """Fitted rate of the first session."""
    last_share: float | None
    odds_ratio: float | None
    """Change of the odds from one session to the next."""
    low: float | None
    high: float | None
    p_value: float | None
    claimed: bool
    sessions_missing: int | None


def trend(values: Sequence[float | None]) -> Trend:
    """Trend of a figure over sessions in order; sessions without it are passed over."""
    known = [(i, value) for i, value in enumerate(values) if value is not None]
    places = np.array([i for i, _ in known], dtype=np.float64)
    figures = np.array([value for _, value in known], dtype=np.float64)
    n = len(known)
    if n < TREND_LEAST:
        return Trend(
            sessions=n, slope=None, low=None, high=None, p_value=None, claimed=False,
            sessions_missing=TREND_LEAST - n,
        )  # fmt: skip
    slope, low, high = sen_slope(places, figures)
    p_value = mann_kendall_p(figures)
    claimed = p_value < 1 - LEVEL
    fit = stats.linregress(places, figures)
    missing = 0 if claimed else _missing(float(fit.slope), float(fit.stderr), n)
    return Trend(
        sessions=n, slope=slope, low=low, high=high, p_value=p_value, claimed=claimed,
        sessions_missing=missing,
    )  # fmt: skip


def mann_kendall_p(values: Sequence[float] | Array) -> float:
    """Two-sided p-value of no trend in values in order.

    Exact without ties up to 400 values, and up to 7 with them; beyond, normal with the variance
    for ties.
    """
    series = np.asarray(values, dtype=np.float64)
    places = np.arange(len(series))
    if np.ptp(series) == 0:
        return 1.0
    if len(np.unique(series)) == len(series) and len(series) <= _COUNTED_MOST:
        return _untied_p(series)
    if len(series) > _EXACT_MOST:
        return float(stats.kendalltau(places, series, method="asymptotic").pvalue)
    sums = _kendall_s(series[_orders(len(series))])
    return float(np.mean(np.abs(sums) >= abs(_kendall_s(series[None])[0])))


def sen_slope(places: Array, values: Array) -> tuple[float, float, float]:
    """Sen's slope and its 95 % interval from 5 or more values."""
    here, there = np.triu_indices(len(values), 1)
    slopes = (values[there] - values[here]) / (places[there] - places[here])
    (place, weight), last = _sen_place(len(values)), len(slopes) - 1
    ends = (place, place + 1, last - place - 1, last - place)
    slopes.partition(sorted({*ends, last // 2, (last + 1) // 2}))
    low = slopes[place] * (1 - weight) + slopes[place + 1] * weight
    high = slopes[last - place] * (1 - weight) + slopes[last - place - 1] * weight
    middle = (slopes[last // 2] + slopes[(last + 1) // 2]) / 2
    return float(middle), float(low), float(high)


def rate_trend(successes: Sequence[int], attempts: Sequence[int]) -> RateTrend:
    """Trend of a rate from the counts of each session in order."""
    known = [(i, k, n) for i, (k, n) in enumerate(zip(successes, attempts, strict=True)) if n]
    sessions, total = len(known), sum(n for _, _, n in known)
    hits = sum(k for _, k, _ in known)
    if sessions < TREND_LEAST or hits in (0, total):
        return RateTrend(
            sessions=sessions, attempts=total, first_share=None, last_share=None,
            odds_ratio=None, low=None, high=None, p_value=None, claimed=False,
            sessions_missing=max(TREND_LEAST - sessions, 0) or None,
        )  # fmt: skip
    places, counts, numbers = (
        np.array(part, dtype=np.float64) for part in zip(*known, strict=True)
    )
    level, slope, error = logistic(places, counts, numbers)
    freedom = sessions - 2
    half = float(stats.t.ppf(TAILS[1], freedom)) * error
    p_value = 2 * float(stats.t.sf(abs(slope) / error, freedom)) if error > 0 else 1.0
    claimed = p_value < 1 - LEVEL
    first, last = (float(special.expit(level + slope * at)) for at in (places[0], places[-1]))
    return RateTrend(
        sessions=sessions, attempts=total, first_share=first, last_share=last,
        odds_ratio=math.exp(slope), low=math.exp(slope - half), high=math.exp(slope + half),
        p_value=p_value, claimed=claimed,
        sessions_missing=0 if claimed else _missing(slope, error, sessions),
    )  # fmt: skip


def logistic(places: Array, successes: Array, attempts: Array) -> tuple[float, float, float]:
    """Level at place 0 and slope of the log odds, and the slope's error with dispersion.

    Newton steps on the likelihood with Jeffreys' penalty (Firth), so that rates of 0 or 1 in
    some sessions do not send the slope to infinity. Dispersion: Pearson's χ² over G − 2.
    """
    middle = float(np.average(places, weights=attempts))
    at = places - middle
    level = slope = 0.0
    for _ in range(_STEPS):
        chance = special.expit(level + slope * at)
        weight = attempts * chance * (1 - chance)
        a, b, c = float(weight.sum()), float(weight @ at), float(weight @ at**2)
        whole = a * c - b * b
        lever = weight * (c - 2 * b * at + a * at**2) / whole
        left = successes - attempts * chance + lever * (0.5 - chance)
        up, turn = float(left.sum()), float(left @ at)
        steps = np.clip([(c * up - b * turn) / whole, (a * turn - b * up) / whole], -1.0, 1.0)
        level, slope = level + float(steps[0]), slope + float(steps[1])
        if np.abs(steps).max() < 1e-9:
            break
    dispersion = float(((successes - attempts * chance) ** 2 / weight).sum() / (len(places) - 2))
    return level - slope * middle, slope, math.sqrt(a / whole * dispersion)


@lru_cache(maxsize=4)
def _orders(n: int) -> NDArray[np.int64]:
    return np.array(list(permutations(range(n))))


def _kendall_s(rows: Array) -> Array:
    here, there = np.triu_indices(rows.shape[1], 1)
    return np.sign(rows[:, there] - rows[:, here]).sum(axis=1)


@lru_cache(maxsize=64)
def _sen_place(n: int) -> tuple[int, float]:
    """How many slopes to leave out at each end, and how far on towards the next one."""
    if n > _COUNTED_MOST:
        half = -float(special.ndtri(TAILS[0])) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
        place = (n * (n - 1) / 2 - half) / 2 - 0.5
        return math.floor(place), place - math.floor(place)
    below = _orders_below(n)
    place = int(np.searchsorted(below, TAILS[0], side="right")) - 1
    here, after, wanted = special.ndtri([below[place], below[place + 1], TAILS[0]])
    return place, float((wanted - here) / (after - here))


@lru_cache(maxsize=16)
def _orders_below(n: int) -> Array:
    """Chance that at most so many pairs of n values in random order stand the wrong way round.

    For up to half of the pairs and one more: the rest mirrors it.
    """
    chance, most = np.ones(1), n * (n - 1) // 4 + 2
    for size in range(2, n + 1):
        # a box of ones summed up by differences of the running sum: hundreds of sessions in
        # a moment, which a convolution takes many seconds for
        running = np.cumsum(chance)
        chance = np.full(min(len(running) + size - 1, most), running[-1])
        chance[: len(running)] = running
        chance[size:] -= running[: len(chance) - size]
        chance /= size
    return np.cumsum(chance)


def _untied_p(series: Array) -> float:
    """Exact, from values without ties; the chances are counted once for all figures."""
    n = len(series)
    if n < _SHARED_LEAST:
        return float(stats.kendalltau(np.arange(n), series, method="exact").pvalue)
    pairs = n * (n - 1) // 2
    wrong = (pairs - round(float(_kendall_s(series[None])[0]))) // 2
    fewer = min(wrong, pairs - wrong)
    return 1.0 if 2 * fewer == pairs else min(1.0, 2 * float(_orders_below(n)[fewer]))


def _missing(slope: float, error: float, sessions: int) -> int | None:
    """Sessions missing until such a slope shows with power 0.8, its error shrinking as usual."""
    if slope == 0 or error <= 0:
        return None
    totals = np.arange(sessions + 1, MOST_SESSIONS + 1)
    shrink = np.sqrt(sessions * (sessions**2 - 1.0) / (totals * (totals**2 - 1.0)))
    limits = stats.t.ppf(TAILS[1], totals - 2)
    power = np.asarray(stats.nct.sf(limits, totals - 2, abs(slope) / (error * shrink)))
    enough = power >= POWER
    return int(totals[np.argmax(enough)] - sessions) if enough.any() else None
