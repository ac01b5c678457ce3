"""Statistics of attempts against tables, an independent library and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from service.position import Intent, Verdict
from service.practice.statistics import (
    CEP50_SIGMAS,
    CEP90_SIGMAS,
    attempts_for_half_width,
    bias_p_value,
    c4,
    landing,
    longest_run,
    mean,
    radial_sigma_mm,
    rate,
    spread,
    summarise,
    wilson,
)

RUNS = 4000
COVERAGE = 0.012
"""Three and a half standard deviations of a 95 % share over 4000 runs."""
BIAS = 0.015
"""Relative error of a mean over 4000 runs at n = 3 is about 0.006."""


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"), [(7, 10, 40, 89), (14, 20, 48, 85), (35, 50, 56, 81)]
)
def test_wilson_of_the_usual_examples(successes: int, n: int, low: float, high: float) -> None:
    found = wilson(successes, n)
    assert [round(100 * share) for share in found] == [low, high]


@pytest.mark.parametrize("n", [1, 2, 5, 17, 60])
def test_wilson_agrees_with_scipy(n: int) -> None:
    for successes in range(n + 1):
        exact = stats.binomtest(successes, n).proportion_ci(0.95, method="wilson")
        assert wilson(successes, n) == pytest.approx((exact.low, exact.high), abs=1e-9)
        low, high = wilson(successes, n)
        assert 0 <= low <= successes / n <= high <= 1


@pytest.mark.parametrize(
    ("share", "half_width", "attempts"),
    [
        (0.5, 0.2, 21),
        (0.5, 0.15, 39),
        (0.5, 0.1, 93),
        (0.8, 0.2, 14),
        (0.8, 0.15, 26),
        (0.8, 0.1, 60),
    ],
)
def test_attempts_for_a_half_width(share: float, half_width: float, attempts: int) -> None:
    assert attempts_for_half_width(share, half_width) == attempts


def test_rate_says_what_is_missing() -> None:
    """5 of 10: 39 are needed; 9 of 10: Wilson ± 15 points needs 16, the floor of 20 counts."""
    assert rate(5, 10).attempts_missing == 29
    assert rate(9, 10).attempts_missing == 10
    assert rate(30, 60).attempts_missing == 0
    none = rate(0, 0)
    assert (none.share, none.low, none.high, none.attempts_missing) == (None, None, None, 39)


def test_longest_run() -> None:
    assert longest_run([]) == 0
    assert longest_run([False, True, True, False, True]) == 2
    assert longest_run([True] * 4) == 4


def test_mean_agrees_with_scipy() -> None:
    values = [3.0, -1.0, 4.0, 1.0, -5.0, 9.0]
    found = mean(values)
    low, high = stats.t.interval(0.95, 5, loc=np.mean(values), scale=stats.sem(values))
    assert (found.mean_mm, found.low_mm, found.high_mm) == pytest.approx(
        (11 / 6, low, high), abs=1e-12
    )
    assert mean([]).mean_mm is None
    assert (mean([4.0]).mean_mm, mean([4.0]).low_mm) == (4.0, None)
    assert mean([0.0, 10.0], nonnegative=True).low_mm == 0.0


@pytest.mark.parametrize(("n", "value"), [(2, 0.7979), (5, 0.9400), (10, 0.9727), (25, 0.9896)])
def test_c4_of_the_tables(n: int, value: float) -> None:
    assert c4(n) == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize(("n", "factor"), [(3, 1.064), (5, 1.032), (10, 1.014), (20, 1.007)])
def test_correction_of_a_round_spread(n: int, factor: float) -> None:
    assert 1 / c4(2 * n - 1) == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize("n", [3, 5, 10, 20])
def test_spread_is_unbiased_and_its_interval_covers(n: int) -> None:
    rng = np.random.default_rng(41 + n)
    found = [spread(list(sample)) for sample in rng.normal(5, 12, size=(RUNS, n))]
    sigmas = np.array([s.sigma_mm for s in found], dtype=float)
    assert sigmas.mean() == pytest.approx(12, rel=2 * BIAS)
    covered = np.mean([(s.low_mm or 0) <= 12 <= (s.high_mm or 0) for s in found])
    assert covered == pytest.approx(0.95, abs=COVERAGE)


@pytest.mark.parametrize("n", [5, 10, 20])
def test_mean_interval_covers(n: int) -> None:
    rng = np.random.default_rng(51 + n)
    found = [mean(list(sample)) for sample in rng.normal(5, 12, size=(RUNS, n))]
    covered = np.mean([(m.low_mm or 0) <= 5 <= (m.high_mm or 0) for m in found])
    assert covered == pytest.approx(0.95, abs=COVERAGE)


@pytest.mark.parametrize("n", [3, 10])
def test_round_spread_is_unbiased_and_its_circles_hold_their_share(n: int) -> None:
    rng = np.random.default_rng(61 + n)
    sigmas = [radial_sigma_mm(sample) for sample in rng.normal(7, 20, size=(RUNS, n, 2))]
    assert float(np.mean(sigmas)) == pytest.approx(20, rel=BIAS)
    radii = np.hypot(*rng.normal(0, 1, size=(2, 100000)))
    assert np.mean(radii <= CEP50_SIGMAS) == pytest.approx(0.5, abs=0.006)
    assert np.mean(radii <= CEP90_SIGMAS) == pytest.approx(0.9, abs=0.004)


@pytest.mark.parametrize("n", [3, 5, 12])
def test_bias_test_cries_wolf_one_time_in_twenty(n: int) -> None:
    rng = np.random.default_rng(71 + n)
    shape = np.array([[30.0, 0.0], [12.0, 8.0]])
    values = [bias_p_value(rng.normal(size=(n, 2)) @ shape.T) for _ in range(RUNS)]
    p_values = np.array(values, dtype=float)
    assert np.mean(p_values < 0.05) == pytest.approx(0.05, abs=COVERAGE)
    assert np.mean(p_values < 0.5) == pytest.approx(0.5, abs=0.03)


def test_bias_by_hand() -> None:
    """Offsets (10 ± 1, ± 1) at the corners: b = (10, 0), Σ = diag(4/3, 4/3), n·bᵀΣ⁻¹b = 300,
    F = 300·2/(2·3) = 100 on (2, 2): p = 1/(1 + 100) = 0.0099."""
    spots = [(9.0, -1.0), (9.0, 1.0), (11.0, -1.0), (11.0, 1.0)]
    assert bias_p_value(spots) == pytest.approx(1 / 101, abs=1e-9)
    found = landing(spots)
    assert found.long_short.mean_mm == pytest.approx(10)
    assert found.left_right.mean_mm == pytest.approx(0)
    assert found.bias_attempts_missing == 0
    assert found.round is True
    assert found.speed.sigma_mm == pytest.approx(math.sqrt(4 / 3) / c4(4))
    sigma = math.sqrt(8 / 6) / c4(7)
    assert found.half_within_mm == pytest.approx(1.17741 * sigma, rel=1e-5)
    assert found.nine_in_ten_within_mm == pytest.approx(2.14597 * sigma, rel=1e-5)


def test_bias_that_does_not_show_yet_says_how_many_are_missing() -> None:
    """The same spread with a bias of 1: n·bᵀΣ⁻¹b = 3. With n spots F = 0.75·n(n − 2)/(2(n − 1)):
    n = 10 gives 3.33 < F(2, 8) = 4.46; n = 12 gives 4.09 < F(2, 10) = 4.10, n = 13 gives 4.47 ≥
    F(2, 11) = 3.98. So 13 − 4 = 9 are missing."""
    found = landing([(0.0, -1.0), (0.0, 1.0), (2.0, -1.0), (2.0, 1.0)])
    assert found.bias_attempts_missing == 9
    assert found.bias_p_value is not None
    assert found.bias_p_value > 0.05


def test_few_or_flat_spots_claim_nothing() -> None:
    for n in (0, 1, 2):
        found = landing([(float(i), 2.0 * i) for i in range(n)])
        assert found.bias_p_value is None
        assert found.half_within_mm is None
        assert found.speed.sigma_mm is None
        assert found.round is None
    flat = landing([(1.0, 0.0), (2.0, 0.0), (3.0, 0.0)])
    assert flat.round is False


def test_stretched_spread_is_not_called_round() -> None:
    rng = np.random.default_rng(81)
    spots = rng.normal(size=(40, 2)) * (60, 15)
    assert landing([(float(a), float(b)) for a, b in spots]).round is False


# -- the summary of verdicts ---------------------------------------------------------------

POT = Intent.from_dict(
    {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
)


def _verdict(word: str | None = "in", *, made: bool = True, **values: object) -> Verdict:
    return Verdict(
        verdict=word,
        intent=POT,
        potted=("3",) if made else (),
        zone_empty=values.pop("zone_empty", False),
        **values,
    )


def _offset(along_mm: float, across_mm: float) -> dict[str, float]:
    return {"offset_along_mm": along_mm, "offset_across_mm": across_mm}


def test_summary_counts_each_thing_once() -> None:
    verdicts = [
        _verdict("in", miss_mm=0.0, **_offset(5.0, -2.0), pot_chance_given_up=0.1),
        _verdict("in", miss_mm=0.0, **_offset(8.0, 1.0), pot_chance_given_up=0.2),
        _verdict("out", made=False, miss_mm=60.0, **_offset(90.0, 0.0)),
        _verdict("too close to call", miss_mm=0.3),
        _verdict("out", scratch=True),
        _verdict("out", zone_empty=True),
        _verdict("in", miss_mm=0.0),
    ]
    found = summarise(verdicts, refused=2)
    assert (found.attempts, found.refused) == (9, 2)
    assert (found.pots.successes, found.pots.n) == (5, 7)
    assert (found.zone.successes, found.zone.n) == (3, 5)
    assert (found.too_close_to_call, found.no_zone, found.scratches) == (1, 1, 1)
    assert found.average_miss.n == 5
    assert found.average_miss.mean_mm == pytest.approx(60.3 / 5)
    assert found.landing.n == 3
    assert found.longest_run == 2
    assert found.longest_pot_run == 2
    assert found.pot_chance_given_up == pytest.approx(0.15)
    assert found.to_dict()["zone"]["n"] == 5


def test_summary_of_nothing() -> None:
    found = summarise([])
    assert found.attempts == 0
    assert found.pots.share is None
    assert found.average_miss.mean_mm is None
    assert found.pot_chance_given_up is None
