"""Statistics of columns are those of the definitions, attempt by attempt, to the last digit."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import attempt_by_attempt as defined
import numpy as np
import pytest
from scipy import stats

from service.practice import Played, progress, summarise
from service.practice.apart import scored_apart
from service.practice.columns import Columns
from service.practice.statistics import trend as trends
from service.practice.statistics.means import mean_distance
from service.practice.statistics.progress import over_sessions

MANY = 4000
DIGITS = 1e-12
"""Relative: sums in another order."""
CHANCE = 1e-13
"""Absolute: what counting orders in floating point costs a p-value."""


def told(found: dict[str, Any]) -> dict[str, Any]:
    """A summary's or progress's dictionary without the tests of kinds, which have their own."""
    splits = [
        {
            "by": split["by"],
            "groups": {
                group["label"]: {k: v for k, v in group.items() if k != "label"}
                for group in split["groups"]
            },
            "not_known": split["not_known"],
        }
        for split in found["by_kind"]
    ]
    out = found | {"by_kind": splits}
    if "trends" in found:
        keys = ("figure", "trend")
        out["trends"] = [{key: each[key] for key in keys} for each in found["trends"]]
    return out


def assert_same(found: Any, wanted: Any, path: str = "") -> None:
    """Every figure, in depth; what is not a float is equal."""
    if isinstance(wanted, dict):
        assert list(found) == list(wanted) or set(found) == set(wanted), path
        for key, value in wanted.items():
            assert_same(found[key], value, f"{path}.{key}")
    elif isinstance(wanted, list):
        assert len(found) == len(wanted), path
        for i, value in enumerate(wanted):
            assert_same(found[i], value, f"{path}[{i}]")
    elif isinstance(wanted, float):
        assert found == pytest.approx(wanted, rel=DIGITS, abs=0), path
    else:
        assert found == wanted, path


@pytest.mark.parametrize("n", [0, 1, 2, 7, 39, 40, 300, MANY])
def test_a_summary_is_what_its_definition_says(n):
    played = defined.attempts(n)
    verdicts, kinds = [a.verdict for a in played], [a.kind for a in played]
    found = summarise(verdicts, kinds=kinds, refused=3).to_dict()
    assert_same(told(found), defined.summary(verdicts, kinds, refused=3))
    assert_same(scored_apart(verdicts).to_dict(), defined.apart(verdicts))


@pytest.mark.parametrize("same_shots", [False, True])
@pytest.mark.parametrize(("n", "a_session"), [(0, 9), (5, 2), (90, 6), (MANY, 40)])
def test_sessions_over_weeks_are_what_their_definition_says(n, a_session, same_shots):
    played = defined.attempts(n, seed=n, a_session=a_session)
    mixed = [played[i] for i in np.random.default_rng(0).permutation(n)]
    found = progress(mixed, same_shots=same_shots).to_dict()
    assert_same(told(found), defined.progress(played, same_shots=same_shots))


def test_only_the_newest_sessions_are_told_in_full_on_request():
    found = progress(defined.attempts(200, a_session=10))
    whole, some = found.to_dict(), found.to_dict(newest=2)
    assert some["sessions"] == whole["sessions"][-2:]
    assert some["sessions_left_out"] == len(found.sessions) - 2 > 0
    assert {k: v for k, v in some.items() if k[:8] != "sessions"} == {
        k: v for k, v in whole.items() if k[:8] != "sessions"
    }


def test_what_was_summed_up_is_known_by_its_values_and_holds_nothing_else(monkeypatch):
    played = defined.attempts(400, seed=7, a_session=20)
    progress(played).to_dict()
    again = progress(played)
    found = again.sessions[-1].summary
    assert found is progress([played[0], *played[1:]]).sessions[-1].summary
    moved = played[-1]
    changed = Played(at=moved.at + timedelta(seconds=1), verdict=played[0].verdict, kind=moved.kind)
    assert progress([*played[:-1], changed]).sessions[-1].summary is not found


def test_columns_of_a_store_are_those_of_values():
    """As a database gives them: times as text, marks as 0 and 1."""
    played = defined.attempts(50)
    verdicts = [a.verdict for a in played]
    values = Columns.of_verdicts(verdicts, at=[a.at for a in played])
    given = {
        "at": [a.at.replace(tzinfo=None).isoformat(" ") for a in played],
        "called": [v.verdict for v in verdicts],
        "zone_empty": [None if v.zone_empty is None else int(v.zone_empty) for v in verdicts],
        "pot": [None if v.pot_made is None else int(v.pot_made) for v in verdicts],
        "scratch": [int(v.scratch) for v in verdicts],
        "arrival": [v.arrival_from for v in verdicts],
        "shot": [str(v.intent) for v in verdicts],
    }
    for name in (
        "miss_mm", "off_wanted_mm", "offset_along_mm", "offset_across_mm", "pot_chance",
        "pot_chance_given_up",
    ):  # fmt: skip
        given[name] = [getattr(v, name) for v in verdicts]
    for name in ("travel_mm", "cut_deg", "rails", "spin", "side_spin", "in_a_row"):
        given[name] = [None] * len(verdicts)
    found = Columns.of(given)
    assert found.digest() == values.digest()
    assert found.shot.tolist() == values.shot.tolist()
    assert over_sessions(found).to_dict() == over_sessions(values).to_dict()


@pytest.mark.parametrize("n", [171, 240])
@pytest.mark.parametrize("slope", [0.0, 0.003, -0.02])
def test_a_trend_of_many_sessions_is_counted_as_the_library_counts_it(n, slope):
    values = np.random.default_rng(n).normal(size=n) + slope * np.arange(n)
    theirs = stats.kendalltau(np.arange(n), values, method="exact").pvalue
    assert trends.mann_kendall_p(values) == pytest.approx(theirs, rel=0, abs=CHANCE)


def test_very_many_sessions_are_taken_as_normal(monkeypatch):
    """At the border both ways agree; beyond it thousands of sessions take a moment."""
    values = np.random.default_rng(3).normal(size=400) + 0.001 * np.arange(400)
    places = np.arange(400.0)
    counted = (trends.sen_slope(places, values), trends.mann_kendall_p(values))
    monkeypatch.setattr(trends, "_COUNTED_MOST", 100)
    trends._sen_place.cache_clear()
    taken = (trends.sen_slope(places, values), trends.mann_kendall_p(values))
    trends._sen_place.cache_clear()
    assert taken[0] == pytest.approx(counted[0], rel=1e-3)
    assert taken[1] == pytest.approx(counted[1], rel=0.02)


@pytest.mark.parametrize("n", [3, 5, 9, 30, 200, 3000])
@pytest.mark.parametrize(("middle", "width"), [(-40.0, 60.0), (0.0, 40.0), (60.0, 15.0)])
def test_the_ends_of_a_mean_distance_are_those_of_all_draws(n, middle, width):
    """Only draws near an end are worked out; all of them give the very same ends."""
    values = np.maximum(np.random.default_rng(n).normal(middle, width, n), 0.0)
    away = values[values > 0]
    k = len(away)
    found = mean_distance(values)
    if k < 3:
        assert found.low_mm is None
        return
    even = stats.qmc.Sobol(2, seed=20).random_base2(12)
    shares = stats.beta.ppf(even[:, 0], k + 0.5, n - k + 0.5) if k < n else 1.0
    scaled = stats.t.ppf(even[:, 1], k - 1) / k**0.5
    deviation = np.std(away, ddof=1)
    skew = ((away - away.mean()) ** 3).sum() * k / ((k - 1) * (k - 2) * deviation**3)
    hall = 3 / skew * (np.cbrt(1 + skew * (scaled - skew / (6 * k))) - 1)
    means = np.maximum(away.mean() - deviation * hall, 0.0)
    wanted = np.quantile(shares * means, [0.025, 0.975])
    assert (found.low_mm, found.high_mm) == pytest.approx(tuple(wanted), rel=DIGITS)
