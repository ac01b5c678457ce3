"""Statistics of attempts against tables, an independent library and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from service.position import Intent, Verdict
from service.practice.statistics.landing import bias_p_value, landing, spread_ellipse
from service.practice.statistics.means import c4, mean, mean_distance, mean_share, spread
from service.practice.statistics.rates import (
    Sets,
    attempts_for_change,
    attempts_for_half_width,
    longest_run,
    rate,
    sets,
    wilson,
)
from service.practice.statistics.summary import summarise
from service.practice.statistics.weak_side import weak_side, weak_side_within
from service.practice.statistics.within import (
    HALF,
    NINE_IN_TEN,
    radius_factor,
    within_of_average,
    within_of_wanted,
)

RUNS = 4000
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


def test_attempts_that_show_a_change() -> None:
    """50 → 70 %: (1.96·√(2·0.6·0.4) + 0.8416·√(0.25 + 0.21))²/0.04 = 93.0 a period."""
    assert attempts_for_change(0.5, 0.7) == 93
    assert rate(10, 20).attempts_for_change == 93
    assert rate(18, 20).attempts_for_change == attempts_for_change(0.9, 0.7)


def test_completed_sets_count_again_from_nothing() -> None:
    """Three in a row: hits 1 2 3 | 1 2 3 | 1, miss, 1 2."""
    hits = [True] * 7 + [False, True, True]
    assert sets(hits, 3) == Sets(in_a_row=3, completions=2, longest_run=7, attempts=10)
    assert sets([], 3).completions == 0


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
    assert mean_distance([0.0, 10.0]).mean_mm == 5.0


@pytest.mark.parametrize(("n", "value"), [(2, 0.7979), (5, 0.9400), (10, 0.9727), (25, 0.9896)])
def test_c4_of_the_tables(n: int, value: float) -> None:
    assert c4(n) == pytest.approx(value, abs=5e-5)


@pytest.mark.parametrize(("n", "factor"), [(3, 1.064), (5, 1.032), (10, 1.014), (20, 1.007)])
def test_correction_of_a_round_spread(n: int, factor: float) -> None:
    assert 1 / c4(2 * n - 1) == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize("n", [3, 5, 10])
def test_spread_is_unbiased(n: int) -> None:
    rng = np.random.default_rng(41 + n)
    found = [spread(list(sample)) for sample in rng.normal(5, 12, size=(RUNS, n))]
    sigmas = np.array([s.sigma_mm for s in found], dtype=float)
    assert sigmas.mean() == pytest.approx(12, rel=2 * BIAS)


def test_circles_of_a_round_spread_hold_their_share() -> None:
    rng = np.random.default_rng(61)
    radii = np.hypot(*rng.normal(0, 1, size=(2, 100000)))
    assert np.mean(radii <= radius_factor(1.0, HALF)) == pytest.approx(0.5, abs=0.006)
    assert np.mean(radii <= radius_factor(1.0, NINE_IN_TEN)) == pytest.approx(0.9, abs=0.004)


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
    """The same spread with a bias of 1: bᵀΣ⁻¹b = 3/4. Simulated, a true bias of that size shows
    (p < 0.05) in four cases of five with 17 attempts in all, in clearly fewer with 14."""
    found = landing([(0.0, -1.0), (0.0, 1.0), (2.0, -1.0), (2.0, 1.0)])
    assert found.bias_p_value is not None
    assert found.bias_p_value > 0.05
    assert found.bias_attempts_missing == 13
    rng = np.random.default_rng(91)
    for n, enough in ((17, True), (14, False)):
        spots = rng.normal(size=(RUNS, n, 2)) + np.array([math.sqrt(0.75), 0.0])
        shown = np.mean([(bias_p_value(s) or 0) < 0.05 for s in spots])
        assert bool(shown >= 0.8) is enough


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


def test_speed_against_line_by_hand() -> None:
    """Squares along 9 1 0 1 9 = 20, across 1 4 0 4 1 = 10: ratio √2. Leaving one out takes 5/4 of
    its square away: ½·ln of 8.75/8.75, 18.75/5, 20/10, 18.75/5, 8.75/8.75 = 0, 0.6609, 0.3466,
    0.6609, 0; their error √(4/5·0.4370) = 0.5912, × t(4) = 2.7764 is 1.6416. Showing takes
    5·(2.8016·0.5912/0.3466)² = 114.2 attempts."""
    spots = [(-3.0, -1.0), (-1.0, 2.0), (0.0, 0.0), (1.0, -2.0), (3.0, 1.0)]
    found = weak_side(spots)
    assert found.ratio == pytest.approx(math.sqrt(2))
    assert (found.low, found.high) == pytest.approx((0.2739, 7.302), rel=1e-3)
    assert (found.side, found.attempts_missing) == (None, 110)
    assert found.p_value == pytest.approx(2 * stats.t.sf(0.3466 / 0.5912, 4), abs=1e-3)
    mirrored = weak_side([(across, along) for along, across in spots])
    assert mirrored.high == pytest.approx(1 / found.low)
    assert weak_side(spots[:4]).ratio is None
    assert weak_side([(1.0, 0.0)] * 5).ratio is None


def test_weak_side_is_named_either_way() -> None:
    rng = np.random.default_rng(12)
    spots = rng.normal(size=(30, 2)) * (80, 30)
    assert (weak_side(spots).side, weak_side(spots).attempts_missing) == ("speed", 0)
    assert weak_side(spots[:, ::-1]).side == "line"


def test_sessions_scatter_about_their_own_average() -> None:
    """Moving a whole session moves no spread; one attempt alone has none."""
    rng = np.random.default_rng(13)
    parts = [rng.normal(size=(8, 2)) for _ in range(3)]
    moved = [part + np.array([100.0, -50.0]) * i for i, part in enumerate(parts)]
    here, there = weak_side_within(parts), weak_side_within([*moved, [(900.0, 900.0)]])
    assert there.ratio == pytest.approx(here.ratio)
    assert there.low == pytest.approx(here.low)
    assert (here.n, there.n) == (24, 25)


def test_ellipse_lies_along_the_spread() -> None:
    """Spots on the line across = along: long axis at 45°, nothing across it."""
    found = spread_ellipse([(0.0, 0.0), (2.0, 2.0), (4.0, 4.0)])
    assert found is not None
    assert (found.along_mm, found.across_mm) == pytest.approx((2, 2))
    assert found.turn_deg == pytest.approx(45)
    assert found.major_mm == pytest.approx(math.sqrt(8))
    assert found.minor_mm == pytest.approx(0, abs=1e-6)


def test_spots_that_do_not_scatter_have_no_interval() -> None:
    found = within_of_average([(1.0, 2.0)] * 6, HALF)
    assert (found.distance_mm, found.low_mm, found.high_mm) == (0.0, None, None)
    assert spread([3.0] * 6).low_mm is None
    assert within_of_average([(0.0, 0.0)] * 2, HALF).distance_mm is None


def test_spots_on_a_line_have_distances_of_one_direction() -> None:
    """Half of a normal scatter lies within 0.6745·σ, σ = √3.5/c4(6)."""
    found = within_of_average([(float(i), 0.0) for i in range(6)], HALF)
    assert found.distance_mm == pytest.approx(0.6745 * math.sqrt(3.5) / c4(6), rel=1e-3)
    assert found.low_mm is not None
    assert found.high_mm is not None
    assert 0 < found.low_mm < found.distance_mm < found.high_mm


def test_spread_interval_by_hand() -> None:
    """−3 −1 0 1 3: variance 5. Leaving one out: 8.75/3, 18.75/3, 20/3, 18.75/3, 8.75/3; half
    their logarithms 0.5352, 0.9163, 0.9486, 0.9163, 0.5352, mean 0.7703, error √(4/5·0.1850) =
    0.3847; 5·½·ln 5 − 4·0.7703 = 0.9424, ± 2.7764·0.3847 = 1.0681."""
    found = spread([-3.0, -1.0, 0.0, 1.0, 3.0])
    assert found.sigma_mm == pytest.approx(math.sqrt(5) / c4(5))
    assert (found.low_mm, found.high_mm) == pytest.approx(
        (math.exp(0.9424 - 1.0681), math.exp(0.9424 + 1.0681)), rel=1e-3
    )
    assert spread([-3.0, 0.0, 1.0, 3.0]).low_mm is None


def test_from_forty_attempts_on_distances_are_taken_as_they_are() -> None:
    """40 spots evenly on a circle of 10 mm: all as far off, however much a model would spread."""
    turns = np.arange(40) / 40 * 2 * np.pi
    found = within_of_average(10 * np.column_stack([np.cos(turns), np.sin(turns)]), NINE_IN_TEN)
    assert found.distance_mm == pytest.approx(10 * math.sqrt(40 / 39))


def test_median_distance_between_the_ordered_ones() -> None:
    """Five values: the interval runs from the least to the largest and covers 1 − 2/32."""
    found = within_of_wanted([5.0, 1.0, 4.0, 2.0, 3.0], HALF)
    assert (found.distance_mm, found.low_mm, found.high_mm) == (3.0, 1.0, 5.0)


def test_mean_of_distances_needs_three_that_are_not_nothing() -> None:
    assert mean_distance([0.0] * 8 + [10.0, 12.0]).low_mm is None
    found = mean_distance([0.0] * 7 + [10.0, 12.0, 20.0])
    assert found.mean_mm == pytest.approx(4.2)
    assert found.low_mm is not None
    assert found.high_mm is not None
    assert 0 < found.low_mm < 4.2 < found.high_mm
    assert mean_distance([]).mean_mm is None
    assert mean_share([1.0, 1.0, 0.9, 1.0, 0.99]).high == 1.0


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


def test_a_generous_zone_does_not_look_like_accuracy() -> None:
    """The same six stops in a small zone and in one that holds them all: the average miss falls
    to 0, the distances from the wanted spot stay, hits included, whatever way they came."""
    offsets = [(30.0, 40.0), (-60.0, 80.0), (0.0, 150.0), (90.0, 120.0), (200.0, 0.0), (7.0, 24.0)]
    away = [50.0, 100.0, 150.0, 150.0, 200.0, 25.0]
    small, large = (
        summarise(
            [
                _verdict(
                    "in" if off <= radius else "out", miss_mm=max(off - radius, 0.0),
                    wanted_mm=(1000.0, 500.0), cue_stop_mm=(1000.0 + a, 500.0 + b),
                )
                for (a, b), off in zip(offsets, away, strict=True)
            ]
        )
        for radius in (40.0, 400.0)
    )  # fmt: skip
    assert small.average_miss.mean_mm == pytest.approx((10 + 60 + 110 + 110 + 160) / 6)
    assert large.average_miss.mean_mm == 0
    assert small.around_wanted == large.around_wanted
    found = small.around_wanted
    assert (found.n, found.average.mean_mm) == (6, pytest.approx(112.5))
    assert found.root_mean_square_mm == pytest.approx((98_125 / 6) ** 0.5)
    assert found.average.low_mm is not None
    assert found.average.low_mm < 112.5
    assert found.half_within.distance_mm == pytest.approx(125)
    assert found.half_within.low_mm is not None
    assert small.landing.n == 0, "no direction is known"
    assert (small.arrivals.unknown, small.arrivals.cut) == (6, 0)


def test_only_known_directions_tell_speed_from_line() -> None:
    verdicts = [
        _verdict(
            "in", miss_mm=0.0, arrival_from=source, wanted_mm=(1000.0, 500.0),
            cue_stop_mm=(1010.0, 500.0), **(_offset(10.0, 0.0) if split else {}),
        )
        for source, split in [
            ("video", True), ("route", True), ("route", True), ("cut", True), ("cut", False),
            (None, False),
        ]
    ]  # fmt: skip
    found = summarise(verdicts).to_dict()
    assert found["arrivals"] == {"video": 1, "route": 2, "cut": 1, "unknown": 2}
    assert found["landing"]["n"] == 4
    assert found["around_wanted"]["n"] == 6


def test_summary_of_nothing() -> None:
    found = summarise([])
    assert found.attempts == 0
    assert found.pots.share is None
    assert found.average_miss.mean_mm is None
    assert found.pot_chance_given_up is None


def test_distance_from_the_wanted_spot_counts_every_stop() -> None:
    """Stops that all lie in a wide zone: the average miss is 0, the distance is not."""
    offsets = [(30.0, 40.0), (-60.0, 80.0), (0.0, -50.0), (120.0, 0.0), (-20.0, 15.0)]
    verdicts = [
        Verdict(verdict="in", miss_mm=0.0, offset_along_mm=along, offset_across_mm=across)
        for along, across in offsets
    ]
    found = summarise(verdicts)
    assert found.average_miss.mean_mm == 0
    spread = found.around_wanted.average
    assert spread.mean_mm == pytest.approx((50 + 100 + 50 + 120 + 25) / 5, rel=1e-9)
    assert spread.low_mm is not None
    assert spread.high_mm is not None
    assert 0 < spread.low_mm < spread.mean_mm < spread.high_mm
    assert found.to_dict()["around_wanted"]["n"] == 5
