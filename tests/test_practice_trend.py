"""Trends over sessions against tables, an independent library and hand calculation."""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np
import pytest
from scipy import optimize, special, stats

from service.practice.statistics.long_run import mean_over_sessions, share_over_sessions
from service.practice.statistics.trend import logistic, mann_kendall_p, rate_trend, sen_slope, trend

RATIO = 1e-6
"""Relative agreement of a fit with an independent one."""


def test_four_sessions_cannot_show_a_trend_and_five_can() -> None:
    """Of 24 orders two are as extreme: 0.083; of 120 orders two: 0.017."""
    assert mann_kendall_p([1.0, 2.0, 3.0, 4.0]) == pytest.approx(2 / 24)
    assert mann_kendall_p([1.0, 2.0, 3.0, 4.0, 5.0]) == pytest.approx(2 / 120)
    assert trend([1.0, 2.0, 3.0, 4.0]).sessions_missing == 1
    assert trend([1.0, 2.0, 3.0, 4.0]).claimed is False
    assert trend([1.0, 2.0, 3.0, 4.0, 5.0]).claimed is True


def test_ties_are_counted_exactly() -> None:
    """1 1 2 3: S = 5; over all 24 orders |S| ≥ 5 happens for the sorted and the reversed ones."""
    orders = [np.array(order) for order in permutations([1.0, 1.0, 2.0, 3.0])]
    extreme = 0
    for order in orders:
        s = sum(np.sign(order[j] - order[i]) for i in range(4) for j in range(i + 1, 4))
        extreme += abs(s) >= 5
    assert mann_kendall_p([1.0, 1.0, 2.0, 3.0]) == pytest.approx(extreme / 24)
    assert mann_kendall_p([2.0] * 6) == 1.0


def test_sen_slope_lies_in_scipys_interval_and_is_the_same() -> None:
    rng = np.random.default_rng(5)
    places = np.arange(12.0)
    values = 0.5 * places + rng.normal(size=12)
    slope, low, high = sen_slope(places, values)
    theirs = stats.theilslopes(values, places)
    assert slope == pytest.approx(theirs.slope)
    # theirs takes the next ordered slope outward
    assert theirs.low_slope <= low <= slope <= high <= theirs.high_slope


def test_sessions_that_lack_a_figure_are_passed_over() -> None:
    """A line stays a line with a gap in it: slope 2 a session all the same."""
    found = trend([0.0, 2.0, None, 6.0, 8.0, 10.0])
    assert found.sessions == 5
    assert found.slope == pytest.approx(2.0)


def test_trend_that_does_not_show_says_how_many_sessions_are_missing() -> None:
    """The forecast, tried: with so many sessions in all, such a trend shows in four of five."""
    values = [10.0, 13.0, 9.0, 12.0, 14.0, 11.0]
    found = trend(values)
    assert found.claimed is False
    assert found.sessions_missing is not None
    fit = stats.linregress(np.arange(6), values)
    noise = float(fit.stderr) * math.sqrt(17.5)  # Σ(x − 2.5)² = 17.5
    total = 6 + found.sessions_missing
    rng = np.random.default_rng(6)
    rows = fit.slope * np.arange(total) + noise * rng.normal(size=(1000, total))
    shown = np.mean([stats.linregress(np.arange(total), row).pvalue < 0.05 for row in rows])
    assert shown == pytest.approx(0.8, abs=0.1)
    assert trend([1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0]).sessions_missing is None


def test_logistic_fit_agrees_with_an_independent_one() -> None:
    """The same penalised likelihood, maximised without derivatives."""
    hits, counts = np.array([3.0, 5.0, 4.0, 8.0, 9.0]), np.array([10.0, 12.0, 9.0, 11.0, 10.0])
    places = np.arange(5.0)
    design = np.column_stack([np.ones(5), places])

    def loss(beta: np.ndarray) -> float:
        chance = special.expit(design @ beta)
        information = design.T @ (design * (counts * chance * (1 - chance))[:, None])
        likelihood = hits * np.log(chance) + (counts - hits) * np.log1p(-chance)
        return -float(likelihood.sum()) - 0.5 * float(np.linalg.slogdet(information)[1])

    best = optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead", tol=1e-12).x
    level, slope, error = logistic(places, hits, counts)
    assert (level, slope) == pytest.approx(tuple(best), rel=1e-5)
    chance = special.expit(design @ best)
    weight = counts * chance * (1 - chance)
    pearson = float(((hits - counts * chance) ** 2 / weight).sum()) / 3
    covariance = np.linalg.inv(design.T @ (design * weight[:, None])) * pearson
    assert error == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)


def test_rate_that_rises_from_nothing_to_all_stays_finite() -> None:
    found = rate_trend([0, 0, 5, 10, 10], [10] * 5)
    assert found.odds_ratio is not None
    assert 1 < found.odds_ratio < 1000
    assert found.first_share is not None
    assert found.last_share is not None
    assert found.first_share < 0.2 < 0.8 < found.last_share


def test_rate_trend_says_nothing_too_early() -> None:
    early = rate_trend([3, 4, 5], [10, 10, 10])
    assert (early.p_value, early.sessions_missing, early.claimed) == (None, 2, False)
    flat = rate_trend([0] * 6, [10] * 6)
    assert (flat.p_value, flat.sessions_missing, flat.claimed) == (None, None, False)
    assert rate_trend([5, 5, 5, 5, 5, 0], [10, 10, 10, 10, 10, 0]).sessions == 5


def test_long_run_by_hand() -> None:
    """Five sessions of ten with 2, 4, 5, 6 and 8 hits: 25 of 50. Leaving out session i gives
    (25 − k + ½)/41; the interval is that of their log odds, × t(4) = 2.776."""
    hits = np.array([2, 4, 5, 6, 8])
    found = share_over_sessions(hits.tolist(), [10] * 5)
    assert found.mean == 0.5
    odds = special.logit((25 - hits + 0.5) / 41)
    error = math.sqrt(4 / 5 * float(((odds - odds.mean()) ** 2).sum()))
    assert found.high == pytest.approx(special.expit(2.776445 * error), rel=RATIO)
    assert found.low == pytest.approx(1 - found.high, rel=RATIO)
    assert share_over_sessions([5] * 4, [10] * 4).low is None
    assert share_over_sessions([10] * 6, [10] * 6).low is None
    assert share_over_sessions([], []).mean is None


def test_long_run_mean_of_equal_sessions_is_students() -> None:
    """With as many attempts in each, the interval is Student's on the sessions' means."""
    rng = np.random.default_rng(8)
    values = rng.normal(5, 20, size=(7, 9)).tolist()
    found = mean_over_sessions(values)
    means = np.mean(values, axis=1)
    low, high = stats.t.interval(0.95, 6, loc=means.mean(), scale=stats.sem(means))
    assert (found.low_mm, found.high_mm) == pytest.approx((low, high), rel=RATIO)
    assert mean_over_sessions(values[:4]).low_mm is None
    assert mean_over_sessions([]).mean_mm is None
