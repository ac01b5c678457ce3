"""Rates: Wilson's interval, how many attempts are missing for a claim, runs and sets in a row.

No rate is given without its interval. Wilson's 95 % interval covers 95.2 to 95.5 % on average
over all true rates at 5 to 50 attempts; at a single true rate it swings about that, because a
count only takes whole numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

LEVEL = 0.95
Z = 1.959963984540054
"""Two-sided 95 % of the normal distribution."""
POWER = 0.8
"""A difference counts as findable when it would show in four cases of five."""
_FOUND = float(stats.norm.ppf(POWER))
RATE_LEAST = 20
"""With fewer attempts counts and interval only: a rate is no claim yet."""
RATE_HALF_WIDTH = 0.15
"""A rate is worth claiming when its interval is at most this to either side."""
CHANGE_POINTS = 0.2
"""The change of a rate whose price in attempts is stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Successes among n with Wilson's 95 % interval; share and interval are None for n = 0."""

    successes: int
    n: int
    share: float | None
    low: float | None
    high: float | None
    attempts_missing: int
    """How many more attempts before the rate can be claimed (20, and ±15 points)."""
    attempts_for_change: int
    """Attempts in each of two periods that show a change of 20 points four times in five."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sets:
    """Successes in a row as a task: a failure starts again, a whole row is a completion."""

    in_a_row: int
    completions: int
    longest_run: int
    attempts: int


def wilson(successes: int, n: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share, for n ≥ 1."""
    share = successes / n
    middle = share + Z**2 / (2 * n)
    half = Z * math.sqrt(share * (1 - share) / n + Z**2 / (4 * n**2))
    scale = 1 + Z**2 / n
    # at the ends the interval touches 0 or 1 exactly; rounding must not leave them
    low = 0.0 if successes == 0 else (middle - half) / scale
    high = 1.0 if successes == n else (middle + half) / scale
    return low, high


def attempts_for_half_width(share: float, half_width: float) -> int:
    """Attempts at which Wilson's interval at ``share`` is ± ``half_width`` or narrower."""
    low, high = 1, 1
    while _half_width(share, high) > half_width:
        low, high = high, high * 2
    while low < high:
        middle = (low + high) // 2
        if _half_width(share, middle) > half_width:
            low = middle + 1
        else:
            high = middle
    return high


def attempts_for_change(share: float, other: float, power: float | None = None) -> int:
    """Attempts in each of two periods that tell the two shares apart with that power (``POWER``).

    The usual normal approximation of the two-sided test of two shares at 5 %.
    """
    pooled = (share + other) / 2
    found = _FOUND if power is None else float(stats.norm.ppf(power))
    noise = Z * math.sqrt(2 * pooled * (1 - pooled)) + found * math.sqrt(
        share * (1 - share) + other * (1 - other)
    )
    return math.ceil((noise / (share - other)) ** 2 - 1e-9)


def rate(successes: int, n: int) -> Rate:
    """A rate with its interval and the number of attempts missing before it can be claimed."""
    share = successes / n if n else 0.5
    needed = max(RATE_LEAST, attempts_for_half_width(share, RATE_HALF_WIDTH))
    other = share + CHANGE_POINTS if share <= 1 - CHANGE_POINTS else share - CHANGE_POINTS
    low, high = wilson(successes, n) if n else (None, None)
    return Rate(
        successes=successes,
        n=n,
        share=share if n else None,
        low=low,
        high=high,
        attempts_missing=max(0, needed - n),
        attempts_for_change=attempts_for_change(share, other),
    )


def longest_run(hits: Sequence[bool] | NDArray[np.bool_]) -> int:
    """Most successes in a row."""
    misses = np.flatnonzero(~np.asarray(hits, dtype=np.bool_))
    # from each miss to the next, the places before the first and after the last being misses too
    ends = np.concatenate(([-1], misses, [len(hits)]))
    return int(np.max(np.diff(ends))) - 1


def sets(hits: Sequence[bool], in_a_row: int) -> Sets:
    """Completed rows of ``in_a_row`` successes; the count starts again after each and each miss."""
    run = completions = 0
    for hit in hits:
        run = run + 1 if hit else 0
        if run == in_a_row:
            run, completions = 0, completions + 1
    return Sets(
        in_a_row=in_a_row,
        completions=completions,
        longest_run=longest_run(hits),
        attempts=len(hits),
    )


def _half_width(share: float, n: int) -> float:
    spread = math.sqrt(share * (1 - share) / n + Z**2 / (4 * n**2))
    return Z * spread / (1 + Z**2 / n)
