"""A player's spreads: fits against simulated players, what is left out, and files of sessions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from position_layouts import layout
from scipy.special import erf

from calibration.table import Table
from service.position import Intent, Player, score_shot
from service.position.meant.settings import STARTING
from service.position.plan.record import fit_player, route_stop
from service.position.plan.spread import (
    LEAST_SHOTS,
    POT_SPREADS,
    AimedShot,
    RouteStop,
    Spread,
    aimed_shot,
    fit_pot_spreads,
    fit_route_spreads,
)

NINE = Table()
D = 57.15
RUNS = 400
AIM_RUNS = 40
AIM_COVERED = 0.84
"""95 % less three standard deviations of a share of 40 runs, 0.103."""
COVERED = (0.915, 0.985)
"""95 % give or take three standard deviations of a share of 400 runs, 0.033."""


def _record(rng: np.random.Generator, true: Player, count: int) -> list[AimedShot]:
    """Straight to thin shots, short and long ways, near and far pockets."""
    shots = []
    for _ in range(count):
        sine, way = rng.uniform(0, 0.9), rng.uniform(100, 1800)
        turn = math.radians(rng.uniform(0.8, 4.0))
        window, throw = D * math.sqrt(1 - sine**2) * math.sin(turn), min(2 * sine, 1.0)
        errors = (
            math.radians(true.aim_spread_deg) * way / window,
            true.contact_error_mm / window,
            math.radians(true.throw_spread_deg) * throw / turn,
        )
        made = rng.random() < erf(1 / (math.sqrt(2) * math.hypot(*errors)))
        shots.append(
            AimedShot(
                window_mm=window,
                way_mm=way,
                half_turn_deg=math.degrees(turn),
                throw_share=throw,
                made=bool(made),
            )
        )
    return shots


def _aim(shots: list[AimedShot]) -> Spread:
    return fit_pot_spreads(shots, Player())["aim_spread_deg"]


@pytest.mark.parametrize(("spread_deg", "count"), [(0.1, 100), (0.2, 60), (0.2, 150)])
def test_interval_of_the_aim_spread_covers(spread_deg: float, count: int) -> None:
    """Of fitted intervals 95 % or more hold the true spread, and the fit is unbiased: they allow
    for the whole range of contact and throw, so they may hold it more often."""
    rng = np.random.default_rng(51)
    true = Player(aim_spread_deg=spread_deg)
    fits = [_aim(_record(rng, true, count)) for _ in range(AIM_RUNS)]
    used = [fit for fit in fits if fit.fitted]
    assert len(used) > 0.5 * AIM_RUNS
    assert np.mean([fit.low <= spread_deg <= fit.high for fit in used]) >= AIM_COVERED
    assert np.median([fit.value for fit in used]) == pytest.approx(spread_deg, rel=0.1)


@pytest.mark.parametrize(
    ("true", "told"),
    [
        (Player(aim_spread_deg=0.15, contact_error_mm=1.6), POT_SPREADS[:2]),
        (Player(aim_spread_deg=0.05, throw_spread_deg=1.3), POT_SPREADS[2:]),
    ],
    ids=["contact", "throw"],
)
def test_a_long_record_tells_contact_and_throw_from_aim(
    true: Player, told: tuple[str, ...]
) -> None:
    """3000 shots of a player whose contact or throw is far from the starting value."""
    rng = np.random.default_rng(55)
    found = fit_pot_spreads(_record(rng, true, 3000), Player())
    for name in told:
        assert found[name].fitted, name
        assert found[name].low <= getattr(true, name) <= found[name].high, name
        assert found[name].value == pytest.approx(getattr(true, name), rel=0.3), name


def test_too_few_shots_keep_the_stated_start() -> None:
    rng = np.random.default_rng(52)
    few = _aim(_record(rng, Player(aim_spread_deg=0.2), LEAST_SHOTS - 1))
    own = STARTING["aim_spread_deg"]
    assert not few.fitted
    assert (few.value, few.low, few.high) == (own.value, own.low, own.high)
    assert few.count == LEAST_SHOTS - 1


def test_a_record_of_pots_alone_cannot_tell() -> None:
    """Nothing bounds the spreads from below, so the starting values stay, with their ranges."""
    shot = AimedShot(window_mm=2.0, way_mm=600, half_turn_deg=2.0, throw_share=0.5, made=True)
    for name, found in fit_pot_spreads([shot] * 60, Player()).items():
        assert (found.value, found.fitted) == (STARTING[name].value, False)


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


def test_aimed_shot_is_the_window_at_the_ghost_ball() -> None:
    """Straight at side-left from 500 behind the ghost ball: ways of 3.1442° to either side, so
    touches of 57.15·sin 3.1442° = 3.1346 mm; by mechanical bridge the aim counts 1.5 times."""
    intent = Intent.from_dict({"pot": "1", "pocket": "side-left", "next": "2"})
    places = {"cue": (1270.0, 77.85), "1": (1270.0, 635.0), "2": (300.0, 300.0)}
    shot = aimed_shot(layout(NINE, places), intent, NINE, Player(), made=True)
    assert shot is not None
    assert shot.window_mm == pytest.approx(3.1346, abs=1e-3)
    assert (shot.way_mm, shot.throw_share, shot.aim_factor) == pytest.approx((500, 0, 1))
    assert shot.half_turn_deg == pytest.approx(3.1442, abs=1e-3)
    short = Player(hand_back_mm=50, hand_body_side_mm=50, hand_off_side_mm=50)
    bridged = aimed_shot(layout(NINE, places), intent, NINE, short, made=True)
    assert bridged is not None
    assert bridged.aim_factor == 1.5


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
            {
                "pot": "1", "pocket": "side-left", "next": "2",
                "zone": {"circle_mm": [600, 500, 80]}, "route_mm": [[1270, 692.85], [600, 500]],
            }
        )  # fmt: skip
        shot = aimed_shot(before, intent, NINE, true, made=True)
        assert shot is not None
        aside = math.hypot(math.radians(0.25) * shot.way_mm, true.contact_error_mm)
        thrown = shot.throw_share * true.throw_spread_deg / shot.half_turn_deg
        wide = math.hypot(aside / shot.window_mm, thrown)
        made = rng.random() < erf(1 / (math.sqrt(2) * wide))
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
    assert set(found.to_dict()) == {*POT_SPREADS, "speed_spread", "line_spread_deg"}
    assert "aim_spread_deg" in found.player.measured
    assert found.player.assumed(["throw_spread_deg", "aim_spread_deg"]) == ["throw_spread_deg"]
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
