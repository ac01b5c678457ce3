"""Planned routes: gaps, hooked stretches, what they forgive; by hand and against played shots."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from position_layouts import D, layout
from scipy.stats import norm

from calibration.table import PointMm, Table
from service.position import Intent, IntentError, Player, landing_zone
from service.position.plan.polyline import Polyline
from service.position.plan.route import RouteReport, most_forgiving, report_route
from service.position.shot.hooked import hooked

NINE = Table()
HAND_MM = 0.01
CHANCE = 0.03
"""61 speeds by 41 lines give a chance to about this."""
STEP_MM = 5.0
"""Stops along a route are tried so far apart."""


def _report(
    route: list[list[float]],
    balls: dict[str, PointMm],
    *,
    zone: dict[str, object] | None = None,
    cov: float = 0.0,
    player: Player | None = None,
    **intent: object,
) -> RouteReport:
    data: dict[str, object] = {"route_mm": route, **intent}
    if "next" not in intent or zone is not None:
        data["zone"] = zone or {"circle_mm": [*route[-1], 100]}
    there = layout(NINE, balls, cov_mm2=((cov, 0.0), (0.0, cov)))
    return report_route(there, Intent.from_dict(data), NINE, player=player)


def test_gap_between_two_balls() -> None:
    """Straight along y = 600 past (1000, 700) on the left and (1000, 480) on the right: centres 100
    and 120 off, so 42.85 and 62.85 of room: 0.750 ball widths. Edge to edge 220 − 57.15 = 162.85,
    which is 2.85 ball widths. Both balls are passed after 500."""
    found = _report([[500, 600], [1500, 600]], {"1": (1000, 700), "2": (1000, 480)})
    assert [gap.at_mm for gap in found.gaps] == pytest.approx([500, 500])
    gap = found.gaps[0]
    assert (gap.left, gap.right) == ("1", "2")
    assert (gap.left_mm, gap.right_mm) == pytest.approx((42.85, 62.85), abs=HAND_MM)
    out = gap.to_dict()
    assert out["room_balls"] == pytest.approx(0.750, abs=1e-3)
    assert out["width_mm"] == pytest.approx(162.85, abs=HAND_MM)
    assert out["width_balls"] == pytest.approx(2.850, abs=1e-3)
    assert (found.way_mm, found.rails) == (pytest.approx(1000), ())


def test_gap_between_ball_and_cushion() -> None:
    """Along y = 100 below a ball at (1000, 200): 42.85 on the left, 100 − 27.5 = 72.5 to the
    cushion on the right."""
    (gap,) = _report([[500, 100], [1500, 100]], {"1": (1000, 200)}).gaps
    assert (gap.left, gap.right) == ("1", "cushion")
    assert (gap.left_mm, gap.right_mm) == pytest.approx((42.85, 72.5), abs=HAND_MM)


def test_gap_against_a_second_ball_further_on() -> None:
    """Passing (1000, 680): 22.85 on the left. On the right (1030, 500) lies 30 ahead and 100 aside:
    100 − √(57.15² − 30²) = 100 − 48.64 = 51.36 of room."""
    gaps = _report([[500, 600], [1500, 600]], {"1": (1000, 680), "2": (1030, 500)}).gaps
    assert gaps[0].left_mm == pytest.approx(22.85, abs=HAND_MM)
    assert gaps[0].right_mm == pytest.approx(51.36, abs=HAND_MM)


def test_blocked_and_doubtful_gaps_are_said() -> None:
    """A ball 50 beside the way: 7.15 short of room. One 57.65 beside it has 0.5 of room against
    1.96·0.5 = 0.98 of doubt."""
    found = _report([[500, 600], [1500, 600]], {"1": (1000, 650)})
    assert found.gaps[0].state == "blocked"
    assert found.gaps[0].room_mm == pytest.approx(-7.15, abs=HAND_MM)
    assert found.warnings == ("the route meets ball 1 after 500 mm: blocked",)
    doubtful = _report([[500, 600], [1500, 600]], {"1": (1000, 657.65)}, cov=0.25)
    assert doubtful.gaps[0].state == "too close to call"
    assert doubtful.gaps[0].uncertainty_mm == pytest.approx(0.98, abs=HAND_MM)


def test_rail_contacts_and_handedness() -> None:
    """Up to the left cushion, down to the foot cushion and back: two contacts, so what drifts left
    at first drifts right after one and left again after two."""
    points = ((1500.0, 600.0), (2000.0, 1242.5), (2512.5, 600.0), (2000.0, 300.0))
    line = Polyline.of(points, NINE)
    assert line.rails == ("left", "foot")
    first, second = (mark for mark, _ in line.contacts)
    assert first == pytest.approx(math.hypot(500, 642.5))
    signs = [line.handedness(mark) for mark in (first - 1, first + 1, second + 1)]
    assert signs == [1.0, -1.0, 1.0]
    np.testing.assert_allclose(line.at(np.array([first])), [points[1]], rtol=0, atol=1e-9)


def test_a_corner_in_the_open_is_no_rail_contact() -> None:
    points = ((1500.0, 600.0), (1800.0, 700.0), (2100.0, 700.0))
    assert Polyline.of(points, NINE).rails == ()


def test_stretch_inside_a_circle() -> None:
    """Along y = 600 through a circle about (1400, 630) of radius 50: the chord is 2·√(50² − 30²) =
    80 long, from 860 to 940 of the way; the planned stop at 900 may fall 40 short or 40 long."""
    found = _report([[500, 600], [1400, 600]], {}, zone={"circle_mm": [1400, 630, 50]})
    (stretch,) = found.in_zone
    assert (stretch.from_mm, stretch.to_mm) == pytest.approx((860, 900), abs=0.05)
    assert (found.short_mm, found.long_mm) == pytest.approx((40, 40), abs=0.05)
    assert found.ends_in_zone
    through = _report([[500, 600], [1600, 600]], {}, zone={"circle_mm": [1400, 630, 50]})
    assert through.in_zone_mm == pytest.approx(80, abs=0.1)
    assert not through.ends_in_zone
    assert through.short_mm is None


def test_chance_of_a_speed_alone() -> None:
    """A band 80 deep about the stop, far wider than the line spreads: with a speed spread of 5 % of
    800 = 40 that is ±1 σ: 0.6827."""
    band = {"polygon_mm": [[1260, 200], [1340, 200], [1340, 1000], [1260, 1000]]}
    player = Player(speed_spread=0.05, line_spread_deg=0.2)
    found = _report([[500, 600], [1300, 600]], {}, zone=band, player=player)
    assert found.chance == pytest.approx(0.6827, abs=CHANCE)
    assert found.chance_through == 1.0


def test_chance_of_passing_a_gap() -> None:
    """A ball 100 beside the way after 500: drifting 42.85 to its side is atan(0.0857) = 4.898° off;
    with a line spread of 4° that is Φ(1.2245) = 0.8896. The zone is as wide as the table, so
    nothing else stops it."""
    band = {"polygon_mm": [[700, 30], [2400, 30], [2400, 1240], [700, 1240]]}
    player = Player(speed_spread=0.01, line_spread_deg=4.0)
    found = _report([[500, 600], [1500, 600]], {"1": (1000, 700)}, zone=band, player=player)
    assert found.chance_through == pytest.approx(0.8896, abs=CHANCE)
    assert found.chance == pytest.approx(0.8896, abs=CHANCE)


def test_chance_is_that_of_drawn_lots() -> None:
    """By a cushion into a circle: speeds and lines drawn at random, the way unfolded by hand."""
    rng = np.random.default_rng(41)
    route: list[list[float]] = [[1000, 600], [1400, 1242.5], [1700, 760.625]]
    player = Player(speed_spread=0.08, line_spread_deg=2.5)
    found = _report(route, {}, zone={"circle_mm": [1690, 780, 90]}, player=player)
    way = found.way_mm * (1 + 0.08 * rng.standard_normal(200_000))
    drift = np.tan(np.radians(2.5) * rng.standard_normal(200_000)) * way
    first = math.hypot(400, 642.5)
    up, down = np.array([400, 642.5]) / first, np.array([300, -481.875]) / math.hypot(300, 481.875)
    after = way > first
    along = np.where(after[:, None], np.outer(way - first, down), np.outer(way - first, up))
    # the mirror turns left into right
    left_up, left_down = np.array([-up[1], up[0]]), np.array([-down[1], down[0]])
    aside = np.where(after[:, None], -np.outer(drift, left_down), np.outer(drift, left_up))
    stops = np.array([1400, 1242.5]) + along + aside
    inside = np.hypot(*(stops - [1690, 780]).T) <= 90
    assert found.chance == pytest.approx(float(inside.mean()), abs=CHANCE)


def test_hooked_stretches_are_those_of_single_stops() -> None:
    """Every 5 mm along the route the word is that of a stop there."""
    balls = {
        "4": (1270.0, 400.0),
        "8": (1500.0, 600.0),
        "9": (1100.0, 700.0),
        "3": (2200.0, 1000.0),
    }
    found = _report(
        [[2150, 970], [2000, 1242.5], [700, 500]], balls, pot="3", pocket="foot-left",
        next="4", next_pocket="side-right",
    )  # fmt: skip
    assert {stretch.word for stretch in found.hooked} == {"hooked", "partly hooked"}
    line = Polyline.of(found.route_mm, NINE)
    marks = np.linspace(0, line.way_mm, math.ceil(line.way_mm / STEP_MM) + 1)
    for mark, (x, y) in zip(marks, line.at(marks), strict=True):
        word = hooked((float(x), float(y)), balls["4"], [balls["8"], balls["9"]])
        said = [s.word for s in found.hooked if s.from_mm - 1e-6 <= mark <= s.to_mm + 1e-6]
        assert said == {"no": [], "partly": ["partly hooked"], "yes": ["hooked"]}[word], mark


def test_the_more_forgiving_route_is_named() -> None:
    """Down the length of the zone forgives more than across it."""
    zone = {"polygon_mm": [[1000, 560], [1500, 560], [1500, 640], [1000, 640]]}
    down = _report([[500, 600], [1250, 600]], {}, zone=zone)
    across = _report([[1250, 1200], [1250, 600]], {}, zone=zone)
    assert down.chance is not None
    assert across.chance is not None
    assert down.chance > across.chance
    assert most_forgiving([across, down]) == 1
    assert most_forgiving([]) is None


def test_route_that_starts_elsewhere_is_said() -> None:
    """Ball 3 at (1270, 1000) for side-left: touched from (1270, 942.85)."""
    found = _report(
        [[1270, 700], [1270, 400]], {"3": (1270, 1000)}, pot="3", pocket="side-left",
        zone={"circle_mm": [1270, 400, 60]},
    )  # fmt: skip
    assert found.warnings == (
        "the route starts 243 mm from where the cue ball touches ball 3, (1270, 943) mm",
    )


def test_no_zone_has_no_chance() -> None:
    """Ball 7 lies on the way of ball 4 to its pocket."""
    found = _report(
        [[500, 600], [900, 600]], {"4": (1270, 635), "7": (1300, 900)}, next="4",
        next_pocket="side-left",
    )  # fmt: skip
    assert found.chance is None
    assert most_forgiving([found]) is None
    assert "no landing zone on this layout: path: ball 7 blocks" in found.warnings[0]


def test_intent_without_a_route_is_refused() -> None:
    intent = Intent.from_dict({"zone": {"circle_mm": [500, 500, 50]}})
    with pytest.raises(IntentError, match=r"route_mm: missing; allowed: 2 or more points"):
        report_route(layout(NINE, {}), intent, NINE)


def test_report_is_json() -> None:
    out = json.loads(json.dumps(_report([[500, 600], [1500, 600]], {"1": (1000, 700)}).to_dict()))
    assert out["gaps"][0]["left"] == "1"
    assert out["in_zone"][0]["is"] == "in the zone"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6))
def test_mirrored_route_gives_the_mirrored_report(seed: int) -> None:
    """About the long string: left and right change places, all figures stay."""
    rng = np.random.default_rng(seed)
    balls = {str(i): tuple(rng.uniform((60, 60), (2480, 1210))) for i in (4, 8, 9)}
    points = [list(map(float, rng.uniform((60, 60), (2480, 1210)))) for _ in range(3)]
    points[1][1] = 1242.5
    mirrored = {name: (x, 1270 - y) for name, (x, y) in balls.items()}
    one = _report(points, balls)
    other = _report([[x, 1270 - y] for x, y in points], mirrored)
    assert other.rails == tuple({"left": "right"}.get(rail, rail) for rail in one.rails)
    assert [gap.right for gap in other.gaps] == [gap.left for gap in one.gaps]
    assert [gap.right_mm for gap in other.gaps] == pytest.approx([gap.left_mm for gap in one.gaps])
    assert other.chance_through == pytest.approx(one.chance_through, abs=1e-9)
    assert other.chance == pytest.approx(one.chance, abs=1e-3)


def test_route_chance_falls_with_the_spreads() -> None:
    """In a circle of radius 60 that the route ends in the middle of: 1 − exp(−r²/2σ²) for equal
    spreads σ = 40 along and across: 0.675."""
    player = Player(speed_spread=0.05, line_spread_deg=math.degrees(0.05))
    found = _report(
        [[500, 600], [1300, 600]], {}, zone={"circle_mm": [1300, 600, 60]}, player=player
    )
    assert found.chance == pytest.approx(1 - math.exp(-(60**2) / (2 * 40**2)), abs=CHANCE)
    assert norm.cdf(1) - norm.cdf(-1) > found.chance


def test_zone_of_a_route_is_that_of_its_intent() -> None:
    intent = Intent.from_dict(
        {"next": "4", "next_pocket": "side-right", "route_mm": [[1270, 1000], [1270, 800]]}
    )
    there = layout(NINE, {"4": (1270, 400)})
    report = report_route(there, intent, NINE)
    assert report.zone == landing_zone(there, intent, NINE)
    assert report.ends_in_zone
    assert math.dist(report.route_mm[-1], (1270, 400)) > D
