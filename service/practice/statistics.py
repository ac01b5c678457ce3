"""What a number of attempts says: rates with intervals, bias, spread, and what is still missing.

Formulas and their small-sample corrections: Wilson's interval for rates, Student's t for a mean,
chi-square for a spread, c4 for the bias of a standard deviation, Hotelling's T² for the bias of
a landing spot. No rate is given without its interval.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from service.position.verdict import Verdict

LEVEL = 0.95
Z = 1.959963984540054
"""Two-sided 95 % of the normal distribution."""
RATE_LEAST = 20
"""With fewer attempts counts and interval only: a rate is no claim yet."""
RATE_HALF_WIDTH = 0.15
"""A rate is worth claiming when its interval is at most this to either side."""
SPREAD_LEAST = 3
"""The fewest attempts from which a spread is estimated."""
CEP50_SIGMAS = 1.1774100225154747
CEP90_SIGMAS = 2.1459660262893474
ROUND_AXES_RATIO = 2.0
"""Above this ratio of variances circles mislead: the ellipse is the thing to look at."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean with its 95 % interval, mm; None where n does not allow it."""

    n: int
    mean_mm: float | None
    low_mm: float | None
    high_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A standard deviation, corrected for the number of attempts, with its 95 % interval, mm."""

    n: int
    sigma_mm: float | None
    low_mm: float | None
    high_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """Landing spots against the wanted spots, along (+ long) and across (+ left) the arrival."""

    n: int
    long_short: Mean
    left_right: Mean
    bias_p_value: float | None
    """Chance of a bias at least this large if there were none (Hotelling's T², n ≥ 3)."""
    bias_attempts_missing: int | None
    """Attempts still missing before a bias of this size would show; 0 when it does."""
    speed: Spread
    line: Spread
    half_within_mm: float | None
    """Radius about the average landing spot that holds half of the stops (CEP50)."""
    nine_in_ten_within_mm: float | None
    """The same for nine in ten (CEP90)."""
    round: bool | None
    """Whether circles describe the spread; False: the two axes differ too much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """A session in figures."""

    attempts: int
    refused: int
    pots: Rate
    zone: Rate
    """Stops in the zone among the attempts that could be called and had a zone."""
    too_close_to_call: int
    no_zone: int
    scratches: int
    average_miss: Mean
    """Distance to the zone, 0 inside it."""
    landing: Landing
    longest_run: int
    """Most attempts in a row with the pot made, no scratch, and the stop in the zone."""
    longest_pot_run: int
    pot_chance_given_up: float | None
    """Mean over the attempts where it is known."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object as in ``session --json``'s summary."""
        return asdict(self)


def summarise(verdicts: Sequence[Verdict], *, refused: int = 0) -> Summary:
    """The summary of scored attempts, in the order they were played."""
    pots = [(v.pot_made and not v.scratch) for v in verdicts if v.pot_made is not None]
    called = [v for v in verdicts if v.verdict is not None and not v.zone_empty]
    decided = [v for v in called if v.verdict != "too close to call"]
    misses = [v.miss_mm for v in verdicts if v.miss_mm is not None]
    offsets = [
        (v.offset_along_mm, v.offset_across_mm)
        for v in verdicts
        if v.offset_along_mm is not None and v.offset_across_mm is not None
    ]
    given_up = [v.pot_chance_given_up for v in verdicts if v.pot_chance_given_up is not None]
    return Summary(
        attempts=len(verdicts) + refused,
        refused=refused,
        pots=rate(sum(map(bool, pots)), len(pots)),
        zone=rate(sum(v.verdict == "in" for v in decided), len(decided)),
        too_close_to_call=len(called) - len(decided),
        no_zone=sum(bool(v.zone_empty) for v in verdicts),
        scratches=sum(v.scratch for v in verdicts),
        average_miss=mean(misses, nonnegative=True),
        landing=landing(offsets),
        longest_run=longest_run(
            v.verdict == "in" and not v.scratch and v.pot_made is not False for v in verdicts
        ),
        longest_pot_run=longest_run(bool(v.pot_made) and not v.scratch for v in verdicts),
        pot_chance_given_up=float(np.mean(given_up)) if given_up else None,
    )


# -- rates ---------------------------------------------------------------------------------


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


def rate(successes: int, n: int) -> Rate:
    """A rate with its interval and the number of attempts missing before it can be claimed."""
    if n == 0:
        missing = max(RATE_LEAST, attempts_for_half_width(0.5, RATE_HALF_WIDTH))
        return Rate(successes=0, n=0, share=None, low=None, high=None, attempts_missing=missing)
    low, high = wilson(successes, n)
    needed = max(RATE_LEAST, attempts_for_half_width(successes / n, RATE_HALF_WIDTH))
    return Rate(
        successes=successes,
        n=n,
        share=successes / n,
        low=low,
        high=high,
        attempts_missing=max(0, needed - n),
    )


def longest_run(hits: Iterable[bool]) -> int:
    """Most successes in a row."""
    best = run = 0
    for hit in hits:
        run = run + 1 if hit else 0
        best = max(best, run)
    return best


def _half_width(share: float, n: int) -> float:
    spread = math.sqrt(share * (1 - share) / n + Z**2 / (4 * n**2))
    return Z * spread / (1 + Z**2 / n)


# -- means and spreads ---------------------------------------------------------------------


def mean(values_mm: Sequence[float], *, nonnegative: bool = False) -> Mean:
    """Mean with Student's 95 % interval (n ≥ 2); the interval of distances stops at 0."""
    n = len(values_mm)
    if n == 0:
        return Mean(n=0, mean_mm=None, low_mm=None, high_mm=None)
    middle = float(np.mean(values_mm))
    if n == 1:
        return Mean(n=1, mean_mm=middle, low_mm=None, high_mm=None)
    half = float(stats.t.ppf((1 + LEVEL) / 2, n - 1)) * float(np.std(values_mm, ddof=1) / n**0.5)
    low = max(middle - half, 0.0) if nonnegative else middle - half
    return Mean(n=n, mean_mm=middle, low_mm=low, high_mm=middle + half)


def c4(n: int) -> float:
    """Expected sample standard deviation of n normal values as a share of the true one."""
    return math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2)) * math.sqrt(2 / (n - 1))


def spread(values_mm: Sequence[float]) -> Spread:
    """Standard deviation over c4 with its chi-square interval, for n ≥ 3."""
    n = len(values_mm)
    if n < SPREAD_LEAST:
        return Spread(n=n, sigma_mm=None, low_mm=None, high_mm=None)
    deviation = float(np.std(values_mm, ddof=1))
    most, least = (float(stats.chi2.ppf(p, n - 1)) for p in ((1 + LEVEL) / 2, (1 - LEVEL) / 2))
    return Spread(
        n=n,
        sigma_mm=deviation / c4(n),
        low_mm=deviation * math.sqrt((n - 1) / most),
        high_mm=deviation * math.sqrt((n - 1) / least),
    )


def radial_sigma_mm(spots_mm: ArrayLike) -> float:
    """σ of a round spread about its own mean, c·√(S / (2(n − 1))) with c = 1 / c4(2n − 1)."""
    spots = np.asarray(spots_mm, dtype=np.float64)
    n = len(spots)
    square = float(((spots - spots.mean(axis=0)) ** 2).sum())
    return math.sqrt(square / (2 * (n - 1))) / c4(2 * n - 1)


def landing(offsets_mm: Sequence[tuple[float, float]]) -> Landing:
    """Bias and spread of landing spots given as (along, across) against the wanted spots."""
    n = len(offsets_mm)
    spots = np.asarray(offsets_mm, dtype=np.float64).reshape(-1, 2)
    along, across = spots[:, 0].tolist(), spots[:, 1].tolist()
    sigma = radial_sigma_mm(spots) if n >= SPREAD_LEAST else None
    p_value = bias_p_value(spots)
    return Landing(
        n=n,
        long_short=mean(along),
        left_right=mean(across),
        bias_p_value=p_value,
        bias_attempts_missing=_bias_missing(spots, p_value),
        speed=spread(along),
        line=spread(across),
        half_within_mm=None if sigma is None else CEP50_SIGMAS * sigma,
        nine_in_ten_within_mm=None if sigma is None else CEP90_SIGMAS * sigma,
        round=_is_round(spots),
    )


def bias_p_value(spots_mm: ArrayLike) -> float | None:
    """Two-dimensional test of no bias: n·bᵀΣ⁻¹b against (2(n−1)/(n−2))·F(2, n−2), n ≥ 3."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    if n < SPREAD_LEAST:
        return None
    return _p_at(_squared_bias(spots), n)


def _squared_bias(spots: np.ndarray) -> float:
    """bᵀΣ⁻¹b; infinite or 0 where the spots do not spread in two directions."""
    bias, cov = spots.mean(axis=0), np.cov(spots.T)
    if np.linalg.matrix_rank(cov) < 2:
        return math.inf if np.any(np.abs(bias) > 0) else 0.0
    return float(bias @ np.linalg.solve(cov, bias))


def _p_at(squared_bias: float, n: int) -> float:
    ratio = n * squared_bias * (n - 2) / (2 * (n - 1))
    return float(stats.f.sf(ratio, 2, n - 2))


def _bias_missing(spots: np.ndarray, p_value: float | None) -> int | None:
    """Attempts still missing until a bias and spread like these would give p < 0.05."""
    if p_value is None:
        return None
    squared = _squared_bias(spots)
    for missing in range(1000):
        if _p_at(squared, len(spots) + missing) < 1 - LEVEL:
            return missing
    return None


def _is_round(spots: np.ndarray) -> bool | None:
    if len(spots) < SPREAD_LEAST:
        return None
    small, large = np.linalg.eigvalsh(np.cov(spots.T))
    return bool(large <= ROUND_AXES_RATIO * small)
