"""Landing spots against wanted spots: bias with its test and region, spread, circles, ellipse."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from .means import SPREAD_LEAST, Mean, Spread, mean, spread
from .rates import LEVEL, POWER
from .weak_side import WeakSide, weak_side
from .within import HALF, NINE_IN_TEN, Distance, within_of_average, within_of_wanted

ROUND_AXES_RATIO = 2.0
"""Above this ratio of variances circles mislead: the ellipse is the thing to look at."""
MOST_MISSING = 1000
"""A bias that would need more attempts than this is as good as none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ellipse:
    """An ellipse in the plane of the arrival line: + along is long, + across is left, mm."""

    along_mm: float
    across_mm: float
    major_mm: float
    """Half the long axis."""
    minor_mm: float
    turn_deg: float
    """From the arrival line to the long axis, counter-clockwise, −90 to 90."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """Landing spots against the wanted spots, along (+ long) and across (+ left) the arrival."""

    n: int
    long_short: Mean
    left_right: Mean
    bias_p_value: float | None
    """Chance of a bias at least this large if there were none (Hotelling's T², n ≥ 3)."""
    bias_attempts_missing: int | None
    """Attempts missing until a bias of this size shows four times in five; 0 when it does."""
    bias_region: Ellipse | None
    """Where the true average landing spot lies, 95 %."""
    speed: Spread
    line: Spread
    weak_side: WeakSide
    half_within_mm: float | None
    """Radius about the average landing spot that holds half of the stops (CEP50)."""
    nine_in_ten_within_mm: float | None
    """The same for nine in ten (CEP90)."""
    half_within: Distance
    """The same radius with its interval."""
    nine_in_ten_within: Distance
    half_within_of_wanted: Distance
    """Distance from the wanted spot, bias included, that holds half of the stops."""
    nine_in_ten_within_of_wanted: Distance
    spread_ellipse: Ellipse | None
    """Scatter of the stops, one standard deviation each way; × 1.18 holds 50 %, × 2.45 95 %."""
    round: bool | None
    """Whether circles describe the spread; False: the two axes differ too much."""


def landing(offsets_mm: ArrayLike) -> Landing:
    """Bias and spread of landing spots (n, 2), along and across, against the wanted spots."""
    spots = np.asarray(offsets_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    along, across = np.ascontiguousarray(spots.T)
    half, nine = within_of_average(spots, HALF), within_of_average(spots, NINE_IN_TEN)
    p_value = bias_p_value(spots)
    off_mm = np.hypot(spots[:, 0], spots[:, 1])
    return Landing(
        n=n,
        long_short=mean(along),
        left_right=mean(across),
        bias_p_value=p_value,
        bias_attempts_missing=_bias_missing(spots, p_value),
        bias_region=bias_region(spots),
        speed=spread(along),
        line=spread(across),
        weak_side=weak_side(spots),
        half_within_mm=half.distance_mm,
        nine_in_ten_within_mm=nine.distance_mm,
        half_within=half,
        nine_in_ten_within=nine,
        half_within_of_wanted=within_of_wanted(off_mm, HALF),
        nine_in_ten_within_of_wanted=within_of_wanted(off_mm, NINE_IN_TEN),
        spread_ellipse=spread_ellipse(spots),
        round=_is_round(spots),
    )


def bias_p_value(spots_mm: ArrayLike) -> float | None:
    """Two-dimensional test of no bias: n·bᵀΣ⁻¹b against (2(n−1)/(n−2))·F(2, n−2), n ≥ 3."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    if n < SPREAD_LEAST:
        return None
    ratio = n * _squared_bias(spots) * (n - 2) / (2 * (n - 1))
    return float(stats.f.sf(ratio, 2, n - 2))


def bias_region(spots_mm: ArrayLike) -> Ellipse | None:
    """The 95 % region of the average landing spot that belongs to that test."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    n = len(spots)
    if n < SPREAD_LEAST:
        return None
    scale = 2 * (n - 1) / (n - 2) * float(stats.f.ppf(LEVEL, 2, n - 2)) / n
    return _ellipse(spots, math.sqrt(scale))


def spread_ellipse(spots_mm: ArrayLike) -> Ellipse | None:
    """The scatter of the stops, half axes of one standard deviation."""
    spots = np.asarray(spots_mm, dtype=np.float64).reshape(-1, 2)
    return None if len(spots) < SPREAD_LEAST else _ellipse(spots, 1.0)


def _ellipse(spots: NDArray[np.float64], scale: float) -> Ellipse:
    (along, across), (values, vectors) = spots.mean(axis=0), np.linalg.eigh(np.cov(spots.T))
    minor, major = scale * np.sqrt(np.maximum(values, 0.0))
    turn = math.degrees(math.atan2(vectors[1, 1], vectors[0, 1]))
    return Ellipse(
        along_mm=float(along),
        across_mm=float(across),
        major_mm=float(major),
        minor_mm=float(minor),
        turn_deg=(turn + 90.0) % 180.0 - 90.0,
    )


def _squared_bias(spots: NDArray[np.float64]) -> float:
    """bᵀΣ⁻¹b; infinite or 0 where the spots do not spread in two directions."""
    bias, cov = spots.mean(axis=0), np.cov(spots.T)
    if np.linalg.matrix_rank(cov) < 2:
        return math.inf if np.any(np.abs(bias) > 0) else 0.0
    return float(bias @ np.linalg.solve(cov, bias))


def _bias_missing(spots: NDArray[np.float64], p_value: float | None) -> int | None:
    """From the power of the test for a bias and spread like these (non-central F)."""
    if p_value is None:
        return None
    if p_value < 1 - LEVEL:
        return 0
    squared, n = _squared_bias(spots), len(spots)
    if squared == 0:
        return None
    totals = np.arange(n + 1, n + MOST_MISSING + 1)
    limits = stats.f.ppf(LEVEL, 2, totals - 2)
    enough = np.asarray(stats.ncf.sf(limits, 2, totals - 2, totals * squared)) >= POWER
    return int(totals[np.argmax(enough)] - n) if enough.any() else None


def _is_round(spots: NDArray[np.float64]) -> bool | None:
    if len(spots) < SPREAD_LEAST:
        return None
    small, large = np.linalg.eigvalsh(np.cov(spots.T))
    return bool(large <= ROUND_AXES_RATIO * small)
