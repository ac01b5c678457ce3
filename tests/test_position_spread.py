"""A player's spreads: fits against simulated players, what is left out, and files of sessions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from position_layouts import layout
from scipy.special import erf

from calibration.table import Table
from service.position import Intent, Player, score_shot
from service.position.plan.record import fit_player, route_stop
from service.position.plan.spread import (
    DEFAULT_AIM_DEG,
    LEAST_SHOTS,
    AimedShot,
    RouteStop,
    aimed_shot,
    fit_aim_spread,
    fit_route_spreads,
)

NINE = Table()
RUNS = 400
COVERED = (0.915, 0.985)
"""95 % give or take three standard deviations of a share of 400 runs, 0.033."""


def _record(rng: np.random.Generator, spread_deg: float, count: int) -> list[AimedShot]:
    windows = rng.uniform(0.05, 0.4, size=count)
    made = rng.random(count) < erf(windows / (math.sqrt(2) * spread_deg))
    return [
        AimedShot(half_window_deg=float(w), made=bool(m))
        for w, m in zip(windows, made, strict=True)
    ]


@pytest.mark.parametrize(("spread_deg", "count"), [(0.1, 60), (0.2, 60), (0.2, 150)])
def test_interval_of_the_aim_spread_covers(spread_deg: float, count: int) -> None:
    """Of fitted intervals about 95 % hold the true spread, and the fit is unbiased."""
    rng = np.random.default_rng(51)
    fits = [fit_aim_spread(_record(rng, spread_deg, count)) for _ in range(RUNS)]
    used = [fit for fit in fits if fit.fitted]
    assert len(used) > 0.8 * RUNS
    covered = np.mean([fit.low <= spread_deg <= fit.high for fit in used])
    assert COVERED[0] <= covered <= COVERED[1]
    assert np.median([fit.value for fit in used]) == pytest.approx(spread_deg, rel=0.07)


def test_too_few_shots_keep_the_stated_default() -> None:
    rng = np.random.default_rng(52)
    few = fit_aim_spread(_record(rng, 0.2, LEAST_SHOTS - 1))
    assert not few.fitted
    assert (few.value, few.low, few.high) == DEFAULT_AIM_DEG
    assert few.count == LEAST_SHOTS - 1


def test_a_record_of_pots_alone_cannot_tell() -> None:
    """Nothing bounds the spread from below, so the default stays, with its wide range."""
    found = fit_aim_spread([AimedShot(half_window_deg=0.2, made=True)] * 60)
    assert (found.value, found.fitted) == (DEFAULT_AIM_DEG[0], False)


def test_interval_of_the_speed_spread_covers() -> None:
    rng = np.random.default_rng(53)
    covered = []
    for _ in range(RUNS):
        stops = [
            RouteStop(way_mm=w, along_mm=0.1 * w * rng.standard_normal(), across_mm=0.0)
            for w in rng.uniform(300, 2000, size=25)
        ]
        speed, line = fit_route_spreads(stops)
        covered.append(speed.low <= 0.1 <= speed.high)
        assert not line.fitted, "a spread of exactly 0 is no measurement"
    assert COVERED[0] <= np.mean(covered) <= COVERED[1]


def test_aimed_shot_is_the_window_at_the_cue_ball() -> None:
    """Straight at side-left from 500 behind the ghost ball: half-window 0.3591°; beside it a shot
    by mechanical bridge counts as the window over its factor."""
    intent = Intent.from_dict({"pot": "1", "pocket": "side-left", "next": "2"})
    places = {"cue": (1270.0, 77.85), "1": (1270.0, 635.0), "2": (300.0, 300.0)}
    shot = aimed_shot(layout(NINE, places), intent, NINE, Player(), made=True)
    assert shot is not None
    assert shot.half_window_deg == pytest.approx(0.3591, abs=1e-4)
    short = Player(hand_back_mm=50, hand_body_side_mm=50, hand_off_side_mm=50)
    bridged = aimed_shot(layout(NINE, places), intent, NINE, short, made=True)
    assert bridged is not None
    assert bridged.half_window_deg == pytest.approx(0.3591 / 1.5, abs=1e-4)


@pytest.mark.parametrize(
    "change",
    [
        {"cue": (1270.0, 900.0)},
        {"2": (1270.0, 900.0)},
        {"1": None},
        {"cue": None},
    ],
    ids=["cut of 180°", "pocket shut by ball 2", "no ball to pot", "no cue ball"],
)
def test_shots_without_a_window_are_left_out(change: dict[str, tuple[float, float] | None]) -> None:
    intent = Intent.from_dict({"pot": "1", "pocket": "side-left", "next": "2"})
    places = {"cue": (1270.0, 77.85), "1": (1270.0, 635.0), "2": (300.0, 300.0)} | change
    there = layout(NINE, {name: place for name, place in places.items() if place is not None})
    assert aimed_shot(there, intent, NINE, Player(), made=False) is None


def test_player_is_fitted_from_scored_attempts() -> None:
    """A simulated player with 0.25° of aim, 6 % of speed and 2° of line, over 150 attempts."""
    rng = np.random.default_rng(54)
    true = Player(aim_spread_deg=0.25, speed_spread=0.06, line_spread_deg=2.0)
    attempts = []
    for _ in range(150):
        cue = (float(rng.uniform(900, 1600)), float(rng.uniform(100, 350)))
        balls = {"1": (1270.0, 750.0), "2": (2000.0, 300.0)}
        before = layout(NINE, {"cue": cue} | balls)
        intent = Intent.from_dict(
            {"pot": "1", "pocket": "side-left", "next": "2", "zone": {"circle_mm": [600, 500, 80]}}
        )
        shot = aimed_shot(before, intent, NINE, true, made=True)
        assert shot is not None
        made = rng.random() < erf(shot.half_window_deg / (math.sqrt(2) * 0.25))
        start, end = np.array([1270, 692.85]), np.array([600.0, 500.0])
        way = end - start
        size = float(np.hypot(*way))
        along, turn = size * 0.06 * rng.standard_normal(), np.radians(2.0) * rng.standard_normal()
        unit = way / size
        off = along * unit + size * np.tan(turn) * np.array([-unit[1], unit[0]])
        stop = (float(end[0] + off[0]), float(end[1] + off[1]))
        left = {"2": balls["2"]} if made else balls
        verdict = score_shot(before, layout(NINE, {"cue": stop} | left), intent, NINE)
        attempts.append((before, verdict))
    found = fit_player(attempts, NINE, Player())
    assert found.aim.fitted
    assert found.speed.fitted
    assert found.aim.low <= 0.25 <= found.aim.high
    assert found.speed.low <= 0.06 <= found.speed.high
    assert found.line.low <= 2.0 <= found.line.high
    assert found.player.aim_spread_deg == found.aim.value
    assert found.player.hand_back_mm == Player().hand_back_mm
    assert set(found.to_dict()) == {"aim_spread_deg", "speed_spread", "line_spread_deg"}
    made_pots = sum(bool(verdict.pot_made) for _, verdict in attempts)
    assert found.speed.count == made_pots, "the cue ball of a missed pot runs elsewhere"


def test_stop_is_taken_against_the_end_of_a_route() -> None:
    """Route of 500 + 300 that ends at (900, 600) coming along −x… the stop (880, 610) lies 20 on
    and, looking along −x, 10 to the right."""
    intent = Intent.from_dict(
        {"route_mm": [[1200, 1000], [1200, 600], [900, 600]], "zone": {"circle_mm": [900, 600, 90]}}
    )
    before = layout(NINE, {"cue": (1200, 1100)})
    verdict = score_shot(before, layout(NINE, {"cue": (880, 610)}), intent, NINE)
    stop = route_stop(before, verdict, NINE)
    assert stop is not None
    assert (stop.way_mm, stop.along_mm, stop.across_mm) == pytest.approx((700, 20, -10))
