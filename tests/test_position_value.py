"""Pot chance against played-out shots, and what a stop gives up against the zone's best place."""

from __future__ import annotations

import math

import numpy as np
import pytest
from position_layouts import POCKETS, D, layout, random_places

from calibration.table import Table
from service.position import Intent, Player, landing_zone, score_shot
from service.position.shot.path import clearances
from service.position.verdict.value import best_chance, chance_by_pocket, open_pockets, pot_chance
from service.position.zone.membership import Leave, leave_of
from vision.layout import Ball

NINE = Table()
PLAYED = 40000
CHANCE = 0.012
"""Four standard deviations of a share of 40,000 played shots are at most 0.010."""
THIN_CHANCE = 0.02
"""Near a pocket and thinly cut the window is taken across the way to the ghost ball, though its
ends are touched from up to 15° beside it."""

BARE = {"contact_error_mm": 1e-9, "throw_spread_deg": 1e-9, "bridge_spread_factor": 1.0}
"""A player who errs in his aim alone."""
FIRM = {"firm_speed_mm_s": 1e7}
"""Every ball can be sent as far as it must go."""


def _leave(
    places: dict[str, tuple[float, float]], *, pocket: str | None = "side-left", **player: float
) -> Leave:
    intent = Intent(next="1", next_pocket=pocket)
    leave = leave_of(intent, NINE, Player(**player), places)
    assert leave is not None
    return leave


def _goes_in(
    cues: np.ndarray | complex,
    ways: np.ndarray,
    leave: Leave,
    pocket_name: str,
    thrown: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Whether cue balls sent from places along ways pot the ball, rolled until they touch.

    The object ball goes in where its line, turned by the throw (rad), passes both nose points by
    its radius, between them.
    """
    target = complex(*leave.object_mm)
    ahead = ((target - cues) * ways.conj()).real
    aside = ((target - cues) * ways.conj()).imag
    hit = (np.abs(aside) < D) & (ahead > 0)
    touch = cues + ways * (ahead - np.sqrt(np.maximum(D**2 - aside**2, 0)))
    sent = (target - touch) / D * np.exp(1j * np.asarray(thrown))
    left, right = (complex(*point) for point in NINE.pocket(pocket_name).nose_points_mm)
    past_left = ((left - target) * sent.conj()).imag
    past_right = ((right - target) * sent.conj()).imag
    onward = ((left + right - 2 * target) * sent.conj()).real > 0
    return hit & onward & (past_left >= D / 2) & (past_right <= -D / 2)


def _played(rng: np.random.Generator, cue: complex, leave: Leave, pocket_name: str) -> float:
    """Share of shots that go in, aimed at the middle of the ways that do.

    The cue ball starts in the wrong direction, its way lies aside by the contact error, and the
    object ball is thrown, in proportion to the cut's sine up to half a ball.
    """
    straight = (complex(*leave.object_mm) - cue) / abs(complex(*leave.object_mm) - cue)
    turns = np.linspace(-0.4, 0.4, 160_001)
    good = turns[_goes_in(cue, straight * np.exp(1j * turns), leave, pocket_name)]
    if len(good) == 0:
        return 0.0
    player, aim = leave.player, (good[0] + good[-1]) / 2
    errors = rng.normal(size=(3, PLAYED))
    ways = straight * np.exp(1j * (aim + math.radians(player.aim_spread_deg) * errors[0]))
    starts = cue + 1j * ways * player.contact_error_mm * errors[1]
    share = min(2 * math.sin(math.radians(_cut(cue, leave, pocket_name))), 1.0)
    thrown = math.radians(player.throw_spread_deg) * share * errors[2]
    return float(np.mean(_goes_in(starts, ways, leave, pocket_name, thrown)))


@pytest.mark.parametrize("spread", [0.15, 0.6])
@pytest.mark.parametrize(
    ("cut", "y_mm"), [(0, 900), (20, 900), (45, 900), (65, 900), (80, 900), (82, 1150), (88, 1150)]
)
def test_pot_chance_is_that_of_played_shots(cut: float, y_mm: float, spread: float) -> None:
    """Near the pocket and thinly cut the window is wider than the part of the ball that the cue
    ball can still touch."""
    rng = np.random.default_rng(31)
    leave = _leave({"1": (1270.0, y_mm)}, aim_spread_deg=spread, **BARE, **FIRM)
    ghost = complex(1270, y_mm - D)
    cue = ghost + 500 * complex(-math.sin(math.radians(cut)), -math.cos(math.radians(cut)))
    chance = float(pot_chance((cue.real, cue.imag), leave))
    near_graze = THIN_CHANCE if cut > 80 else CHANCE
    assert chance == pytest.approx(_played(rng, cue, leave, "side-left"), abs=near_graze)


@pytest.mark.parametrize(("contact", "throw"), [(1.5, 1e-9), (1e-9, 2.0), (0.8, 0.5)])
@pytest.mark.parametrize(("cut", "way_mm"), [(0, 150), (20, 150), (45, 600), (65, 600), (80, 300)])
def test_contact_and_throw_are_those_of_played_shots(
    cut: float, way_mm: float, contact: float, throw: float
) -> None:
    rng = np.random.default_rng(36)
    leave = _leave(
        {"1": (1270.0, 700.0)},
        aim_spread_deg=0.1, contact_error_mm=contact, throw_spread_deg=throw,
        bridge_spread_factor=1.0, **FIRM,
    )  # fmt: skip
    ghost = complex(1270, 700 - D)
    cue = ghost - way_mm * 1j * np.exp(-1j * math.radians(cut))
    chance = float(pot_chance((cue.real, cue.imag), leave))
    assert chance == pytest.approx(_played(rng, cue, leave, "side-left"), abs=CHANCE)


def test_value_is_that_of_the_best_pocket() -> None:
    """Every open pocket played on its own; a left-open pocket is worth the best, a named one its
    own."""
    rng = np.random.default_rng(34)
    places = {"1": (1500.0, 500.0), "2": (2000.0, 300.0)}
    for cue in (complex(1200, 700), complex(900, 400), complex(1700, 900)):
        played = {}
        for name in POCKETS:
            leave = _leave(places, pocket=name, aim_spread_deg=0.4, **BARE, **FIRM)
            own = float(pot_chance((cue.real, cue.imag), leave))
            blocked = name == "foot-right"
            played[name] = 0.0 if blocked else _played(rng, cue, leave, name)
            if _cut(cue, leave, name) >= 90:
                played[name] = 0.0
            assert own == pytest.approx(played[name], abs=CHANCE), name
        anyone = _leave(places, pocket=None, aim_spread_deg=0.4, **BARE, **FIRM)
        best = float(pot_chance((cue.real, cue.imag), anyone))
        assert best == pytest.approx(max(played.values()), abs=CHANCE)
        by_pocket = chance_by_pocket((cue.real, cue.imag), anyone)
        assert "foot-right" not in by_pocket, "ball 2 lies on that way"


def _cut(cue: complex, leave: Leave, name: str) -> float:
    target, aim = complex(*leave.object_mm), complex(*NINE.pocket(name).aim_mm)
    line = (aim - target) / abs(aim - target)
    return abs(math.degrees(np.angle((target - D * line - cue) / line)))


def test_chance_falls_with_distance_cut_and_spread() -> None:
    places = {"1": (1270.0, 900.0)}
    ghost = np.array([1270, 900 - D])
    back = [ghost - [0, s] for s in (100, 300, 500, 700)]
    chances = pot_chance(np.array(back), _leave(places, aim_spread_deg=0.5))
    assert np.all(np.diff(chances) < 0)
    wide = pot_chance(np.array(back), _leave(places, aim_spread_deg=1.0))
    assert np.all(wide < chances)


def test_no_chance_where_every_way_is_shut() -> None:
    """Ball 1 with balls around it: no pocket is open from anywhere."""
    ring = {
        str(i + 2): (
            1270 + 1.02 * D * math.cos(math.radians(60 * i + 15)),
            635 + 1.02 * D * math.sin(math.radians(60 * i + 15)),
        )
        for i in range(6)
    }
    leave = _leave({"1": (1270.0, 635.0)} | ring, pocket=None)
    places = np.random.default_rng(32).uniform((30, 30), (2500, 1240), size=(200, 2))
    assert pot_chance(places, leave).max() == 0


def test_bridge_costs_and_out_of_reach_is_worth_nothing() -> None:
    places = {"1": (1800.0, 635.0)}
    spot = (1200.0, 635.0)
    short = {"hand_back_mm": 600, "hand_body_side_mm": 300}
    by_hand = float(pot_chance(spot, _leave(places, pocket=None, bridge_spread_factor=2.0)))
    by_bridge = float(
        pot_chance(spot, _leave(places, pocket=None, bridge_spread_factor=2.0, **short))
    )
    far = _leave(
        places,
        pocket=None,
        hand_back_mm=300, hand_body_side_mm=100, hand_off_side_mm=100,
        bridge_back_mm=300, bridge_body_side_mm=100, bridge_off_side_mm=100,
    )  # fmt: skip
    assert by_hand > by_bridge > 0
    assert float(pot_chance(spot, far)) == 0


def test_nothing_is_given_up_at_the_best_place() -> None:
    """Chance left and given up add up to the zone's best, or to more than it outside the zone."""
    rng = np.random.default_rng(33)
    seen = 0
    while seen < 10:
        places = random_places(rng, NINE, 4)
        intent = Intent(next="1", next_pocket="foot-left", distance_mm=(100, 1500))
        zone = landing_zone(layout(NINE, places), intent, NINE)
        if zone.is_empty or zone.wanted_mm is None:
            continue
        seen += 1
        there = layout(NINE, places | {"cue": zone.wanted_mm})
        verdict = score_shot(there, there, intent, NINE)
        assert verdict.pot_chance is not None
        assert verdict.pot_chance_given_up is not None
        assert zone.leave is not None
        best = best_chance(zone, zone.leave)
        assert best is not None
        assert verdict.pot_chance + verdict.pot_chance_given_up == pytest.approx(best, abs=1e-9)
        sample = rng.uniform((30, 30), (2500, 1240), size=(3000, 2))
        inside = sample[zone.contains(sample)]
        if len(inside):
            found = float(pot_chance(inside, zone.leave).max())
            assert found <= best + 0.05, "the search misses no much better place"


def test_a_ball_in_the_jaws_is_an_easy_pot() -> None:
    """Ball at (2470, 30): no cue ball has room behind the line to the middle of the mouth, but
    played 45° into the corner it goes in over tens of degrees: near 1 from the open table, though
    the path by the aim point reads blocked, and the difference is said."""
    there = layout(NINE, {"cue": (1800.0, 600.0), "1": (2470.0, 30.0)})
    intent = Intent(next="1", next_pocket="foot-right")
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.pot_chance is not None
    assert verdict.pot_chance > 0.99
    assert verdict.path_to_pocket == "blocked"
    assert any("lies so near foot-right that the middle" in text for text in verdict.warnings)


def test_a_frozen_ball_near_the_corner_goes_along_the_rail() -> None:
    """Ball frozen at (2340, 27.5): the way to the aim point leaves the cue ball 22.9 from the nose
    line, 1.6 too near. Between 0.5° (the near point: 13.01° below, asin(28.575/122.13) = 13.53°)
    and 3.0° (asin(3/57.15), where the cue ball has room) it goes in: 2.5° of turns."""
    (pocket,) = [p for p in open_pockets((2340.0, 27.5), (), NINE) if p.name == "foot-right"]
    assert not pocket.by_aim_point
    middle = math.degrees(math.atan2(pocket.line[1], pocket.line[0]))
    right, left = (middle + math.degrees(turn) for turn in pocket.turns_rad)
    assert right == pytest.approx(0.52, abs=0.02)
    assert left == pytest.approx(3.01, abs=0.11)


def test_open_pockets_by_the_aim_point_agree_with_the_path() -> None:
    """Over random layouts: where the aim point can be played at, the path's fixed parts are open
    and the ball passes its pocket's points, and the reverse."""
    rng = np.random.default_rng(35)
    met = 0
    for _ in range(150):
        places = random_places(rng, NINE, int(rng.integers(1, 16)))
        others = tuple(place for name, place in places.items() if name != "1")
        straight = {p.name for p in open_pockets(places["1"], others, NINE) if p.by_aim_point}
        for pocket in NINE.pockets:
            target = Ball(id="1", x_mm=places["1"][0], y_mm=places["1"][1])
            far = Ball(id="cue", x_mm=-9e6, y_mm=0)
            rest = [Ball(id=n, x_mm=x, y_mm=y) for n, (x, y) in places.items() if n != "1"]
            found = clearances(far, target, pocket, rest, NINE)
            fixed = [c for c in found if c.leg in ("to pocket", "ghost", "mouth")]
            assert all(c.state == "open" for c in fixed) == (pocket.name in straight)
            met += pocket.name in straight
    assert met > 100
