"""Fixed cases of position geometry, each with its arithmetic by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from position_layouts import layout

from calibration.table import Table
from service.position import Intent, Player, landing_zone, score_shot
from service.position.plan.spread import AimedShot, RouteStop, fit_pot_spreads, fit_route_spreads
from service.position.shot.cueing import cueing, level_tip_mm
from service.position.shot.cut import cut_deg, distance_mm, fullness, ghost_ball_mm, side
from service.position.shot.deflection import leaving_range_deg, rolling_turn_deg
from service.position.shot.hooked import hooked, visible_share
from service.position.shot.path import clearances, ghost_room_mm, mouth_state, path_to_pocket
from service.position.shot.reach import over_ball, reach
from service.position.shot.window import (
    approach_deg,
    entry_turns_rad,
    facing_turn_rad,
    margin_deg,
    window_mm,
)
from service.position.verdict.arrival import zone_widths_mm
from service.position.verdict.judged import angle_off_deg, judged_angle
from service.position.verdict.value import pot_chance
from service.position.zone.membership import leave_of
from vision.layout import Ball

HAND_MM = 0.01
"""Hand arithmetic is carried to a hundredth of a millimetre or of a degree."""
CHORD_MM2 = 15.0
"""0.02 mm of chord error along some 500 mm of arc, with room."""
NINE = Table()


def test_ghost_ball_is_one_diameter_behind_the_ball() -> None:
    """Ball on the centre spot (1270, 635), pocket side-left at (1270, 1270): u = (0, 1), so the
    ghost ball is at (1270, 635 − 57.15) = (1270, 577.85)."""
    ghost = ghost_ball_mm((1270, 635), NINE.pocket("side-left").aim_mm)
    np.testing.assert_allclose(ghost, [1270, 577.85], rtol=0, atol=1e-9)


def test_straight_shot() -> None:
    """From (1270, 300) the ghost ball is straight ahead, 577.85 − 300 = 277.85 mm away."""
    shot = ((1270, 300), (1270, 635), (1270, 1270))
    assert float(cut_deg(*shot)) == pytest.approx(0, abs=1e-9)
    assert side(*shot) == "straight"
    assert float(distance_mm(*shot)) == pytest.approx(277.85, abs=1e-9)


def test_cut_of_45_degrees_from_the_left() -> None:
    """From (1170, 477.85) ghost − cue is (100, 100), 45° off u = (0, 1), 141.42 mm long.
    cross(u, cue − next) = 0·(−157.15) − 1·(−100) = 100 > 0: left."""
    shot = ((1170, 477.85), (1270, 635), (1270, 1270))
    assert float(cut_deg(*shot)) == pytest.approx(45, abs=1e-9)
    assert side(*shot) == "left"
    assert float(distance_mm(*shot)) == pytest.approx(141.421, abs=1e-3)


def test_cut_of_more_than_a_quarter_turn() -> None:
    """From (1270 + 100, 677.85) ghost − cue is (−100, −100): 135° off u, on the right."""
    shot = ((1370, 677.85), (1270, 635), (1270, 1270))
    assert float(cut_deg(*shot)) == pytest.approx(135, abs=1e-9)
    assert side(*shot) == "right"


def test_fullness_of_the_named_cuts() -> None:
    """1 − sin: 1 at 0°, 0.75 at 14.48°, 0.5 at 30°, 0.25 at 48.59°, 0 at 90°."""
    for cut, full in ((0, 1), (14.478, 0.75), (30, 0.5), (48.590, 0.25), (90, 0)):
        assert fullness(cut) == pytest.approx(full, abs=1e-4)


@pytest.mark.parametrize(
    ("pocket", "turn_deg", "d_mm", "window", "margin"),
    [
        ("foot-left", 0, 300, 57.15, 5.44),
        ("foot-left", 30, 1000, 41.84, 1.20),
        ("foot-left", 45, 2000, 23.67, 0.34),
        ("side-right", 0, 300, 69.85, 6.64),
        ("side-right", 60, 1000, 6.35, 0.18),
    ],
)
def test_pocket_window(
    pocket: str, turn_deg: float, d_mm: float, window: float, margin: float
) -> None:
    """W·cos α − D and atan(w / 2d). Corner 30°: 114.3·0.8660 − 57.15 = 41.84, atan(41.84/2000) =
    1.20°. Corner 45°: 80.82 − 57.15 = 23.67. Side 60°: 63.5 − 57.15 = 6.35, atan(6.35/2000)."""
    mouth = NINE.pocket(pocket)
    turn = math.radians(turn_deg)
    x, y = mouth.inward
    way = np.array(
        [x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)]
    )
    ball = np.asarray(mouth.aim_mm) - d_mm * way
    assert float(approach_deg(ball, mouth)) == pytest.approx(turn_deg, abs=1e-6)
    assert float(window_mm(ball, mouth)) == pytest.approx(window, abs=HAND_MM)
    assert float(margin_deg(ball, mouth)) == pytest.approx(margin, abs=HAND_MM)


def test_window_shuts_when_the_approach_is_flat() -> None:
    """Side pocket at 70°: 127·0.3420 = 43.4 < 57.15, so nothing is left."""
    ball = (1270 + 635 * math.tan(math.radians(70)), 635)
    assert float(window_mm(ball, NINE.pocket("side-left"))) == 0


def _straight_with_neighbour(gap_mm: float, variance_mm2: float = 0.0) -> str:
    cov = ((variance_mm2, 0.0), (0.0, variance_mm2))
    cue = Ball(id="cue", x_mm=1270, y_mm=100, cov_mm2=cov)
    target = Ball(id="1", x_mm=1270, y_mm=635, cov_mm2=cov)
    other = Ball(id="2", x_mm=1270 + gap_mm, y_mm=300, cov_mm2=cov)
    return path_to_pocket(clearances(cue, target, NINE.pocket("side-left"), [other], NINE))


def test_path_with_exact_places() -> None:
    """A ball beside the way at 57.15 mm leaves it open, at 57.14 mm blocks it."""
    assert _straight_with_neighbour(57.15) == "open"
    assert _straight_with_neighbour(57.14) == "blocked"


def test_path_with_uncertain_places() -> None:
    """σ² = 0.25 mm² each. The other ball lies beside the share t = 200/477.85 = 0.4185 of the way;
    the ghost ball's σ² across is 0.25·(1 + 57.15/635)² = 0.2970. Sum: 0.25 + 0.5815²·0.25 +
    0.4185²·0.2970 = 0.3865, σ = 0.6217, 1.96 σ = 1.2185. So 1.21 mm either way is too close to
    call, 1.23 mm is not."""
    assert _straight_with_neighbour(57.15 + 1.21, 0.25) == "too close to call"
    assert _straight_with_neighbour(57.15 - 1.21, 0.25) == "too close to call"
    assert _straight_with_neighbour(57.15 + 1.23, 0.25) == "open"
    assert _straight_with_neighbour(57.15 - 1.23, 0.25) == "blocked"


def test_frozen_ball_far_from_the_corner_can_be_played() -> None:
    """Frozen at (2040, 27.5) for foot-right at (2499.59, 40.41): u = (459.59, 12.91)/459.77, the
    ghost ball's y is 27.5 − 57.15·0.02808 = 25.895, which is 1.395 above 24.5."""
    aim = NINE.pocket("foot-right").aim_mm
    np.testing.assert_allclose(aim, [2499.59, 40.41], rtol=0, atol=HAND_MM)
    room = ghost_room_mm(ghost_ball_mm((2040, 27.5), aim), NINE)
    assert float(room) == pytest.approx(1.395, abs=HAND_MM)


def test_frozen_ball_near_the_corner_leaves_no_room_for_the_cue_ball() -> None:
    """Frozen at (2340, 27.5): u = (159.59, 12.91)/160.11, the ghost ball's y is 27.5 −
    57.15·0.08063 = 22.89 < 24.5: blocked, and no zone."""
    intent = Intent(next="1", next_pocket="foot-right")
    there = layout(NINE, {"cue": (1000, 600), "1": (2340, 27.5)})
    zone = landing_zone(there, intent, NINE)
    assert zone.emptied_by == "path"
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.path_to_pocket == "blocked"
    assert (verdict.verdict, verdict.miss_mm, verdict.zone_empty) == ("out", None, True)
    assert any("no cue ball fits" in text for text in verdict.warnings)


@pytest.mark.parametrize(
    ("aside_mm", "word", "share"), [(0, "yes", 0.0), (80, "partly", 0.899), (90, "no", 1.0)]
)
def test_hooked_by_one_ball(aside_mm: float, word: str, share: float) -> None:
    """Cue ball (500, 635), next (1500, 635): directions within asin(57.15/1000) = 3.277°. A ball
    500 ahead and 80 aside: bearing 9.090°, 506.4 away, ± asin(57.15/506.4) = 6.480°, so it hides
    from 2.610° on; visible (3.277 + 2.610)/6.554 = 0.898. 90 aside: 10.204° − 6.459° = 3.745° >
    3.277°: nothing. Straight ahead: ± 6.56° hides all."""
    assert hooked((500, 635), (1500, 635), [(1000, 635 + aside_mm)]) == word
    seen = visible_share((500, 635), (1500, 635), [(1000, 635 + aside_mm)])
    assert seen == pytest.approx(share, abs=1.5e-3)


def test_ball_behind_the_next_ball_hides_nothing() -> None:
    """At (1600, 635), farther than the next ball: every direction meets the next ball first."""
    assert hooked((500, 635), (1500, 635), [(1600, 635)]) == "no"


def test_two_balls_hide_together_what_neither_hides_alone() -> None:
    """Balls at (1000, 635 ± 45): bearings ± 5.143°, half-widths asin(57.15/502.0) = 6.537°, so
    each hides across the middle as far as −1.394° on its other side; together everything."""
    assert hooked((500, 635), (1500, 635), [(1000, 680)]) == "partly"
    assert hooked((500, 635), (1500, 635), [(1000, 680), (1000, 590)]) == "yes"


def test_cueing_over_a_ball() -> None:
    """A ball 100 behind the cue ball needs asin(35.075/100) = 20.53°; touching, asin(35.075/57.15)
    = 37.86°; 36 beside the line the cue passes."""
    for limit, blocked in ((20.5, True), (20.6, False)):
        player = Player(elevation_limit_deg=limit)
        assert bool(over_ball((1000, 600), (1500, 600), [(900, 600)], player)) is blocked
    for limit, blocked in ((37.8, True), (37.9, False)):
        player = Player(elevation_limit_deg=limit)
        assert bool(over_ball((1000, 600), (1500, 600), [(942.85, 600)], player)) is blocked
    assert not over_ball((1000, 600), (1500, 600), [(900, 636)], Player(elevation_limit_deg=1))
    assert not over_ball((1000, 600), (1500, 600), [(1100, 600)], Player(elevation_limit_deg=1))


def test_reach_along_the_middle_of_the_table() -> None:
    """Shooting to the foot from beside the middle: 1270 back to the head nose line (hand: 1125).
    From y = 525 it is 745 to the left (a right-hander's body side: 750), by hand; from y = 510 it
    is 760, and 510 to the right (300): bridge. A left-hander mirrors."""
    right, left = Player(), Player(handedness="left")
    assert reach((1270, 525), (1800, 525), NINE, right) == "hand"
    assert reach((1270, 510), (1800, 510), NINE, right) == "bridge"
    assert reach((1270, 510), (1800, 510), NINE, left) == "hand"
    assert reach((1270, 760), (1800, 760), NINE, left) == "bridge"
    assert reach((1120, 510), (1800, 510), NINE, right) == "hand"


@pytest.mark.parametrize("surface", ["9ft", "pro8", "8ft", "7ft"])
@pytest.mark.parametrize("hand", ["left", "right"])
def test_the_middle_line_needs_no_bridge(surface: str, hand: str) -> None:
    """A cue ball on the middle line lies 635 or less from either long nose: whatever it is played
    at, nobody needs the mechanical bridge there."""
    table = Table.from_surface(surface)
    player = Player(handedness=hand)
    for x in np.linspace(60, table.length_mm - 60, 25):
        cue = (float(x), table.width_mm / 2)
        for turn in np.radians(np.arange(0, 360, 5)):
            target = (cue[0] + 300 * math.cos(turn), cue[1] + 300 * math.sin(turn))
            assert reach(cue, target, table, player) == "hand", (cue, math.degrees(turn))


def test_out_of_reach() -> None:
    """From (1270, 635) along the table with a bridge that spans 1200 back and 600 to the body's
    side: 1270 and 635 are farther."""
    short = Player(
        bridge_back_mm=1200, bridge_body_side_mm=600, bridge_off_side_mm=400, hand_body_side_mm=500
    )
    assert reach((1270, 635), (1800, 635), NINE, short) == "out of reach"


def test_area_of_a_free_wedge() -> None:
    """Cut 10° to 40° on the left, 200 to 300 mm from the ghost ball, nothing in the way:
    ½·(300² − 200²)·30°·π/180 = 25000·0.523599 = 13089.97 mm²."""
    intent = Intent(
        next="1", next_pocket="side-left", cut_deg=(10, 40), side="left", distance_mm=(200, 300)
    )
    zone = landing_zone(layout(NINE, {"1": (1270, 635)}), intent, NINE)
    assert zone.area_mm2 == pytest.approx(13089.97, abs=CHORD_MM2)
    ((exterior, holes),) = zone.polygons_mm
    assert holes == ()
    assert all(x < 1270 and y < 577.85 for x, y in exterior)


def test_miss_of_a_drawn_circle() -> None:
    """Circle (1000, 600) of radius 100, stop (1180, 840): 300 from the middle, so 200 from the
    circle, along (0.6, 0.8): vector (120, 160). The route came from (400, 600), towards +x: 120
    long and 160 left of the circle, 180 and 240 of its middle, which is the wanted spot."""
    intent = Intent.from_dict(
        {"zone": {"circle_mm": [1000, 600, 100]}, "route_mm": [[400, 600], [1000, 600]]}
    )
    before = layout(NINE, {"cue": (400, 600), "1": (2000, 300)})
    after = layout(NINE, {"cue": (1180, 840), "1": (2000, 300)})
    verdict = score_shot(before, after, intent, NINE)
    assert verdict.verdict == "out"
    assert verdict.miss_mm == pytest.approx(200, abs=HAND_MM)
    assert verdict.miss_vector_mm == pytest.approx((120, 160), abs=HAND_MM)
    assert verdict.along_mm == pytest.approx(120, abs=HAND_MM)
    assert verdict.across_mm == pytest.approx(160, abs=HAND_MM)
    printed = verdict.to_dict()
    assert printed["outside_zone_mm"] == pytest.approx({"along_mm": 120, "across_mm": 160})
    assert printed["from_wanted_mm"] == pytest.approx(
        {"distance_mm": 300, "along_mm": 180, "across_mm": 240}
    )
    assert printed["wanted_mm"] == [1000, 600]
    assert (printed["arrival"], printed["arrival_from"]) == ("planned", "route")


def test_a_straight_line_to_the_wanted_spot_is_no_arrival() -> None:
    """The same without a route: no way of the cue ball is known, so the miss is not split, and
    the distance from the wanted spot is told all the same."""
    intent = Intent.from_dict({"zone": {"circle_mm": [1000, 600, 100]}})
    before = layout(NINE, {"cue": (400, 600), "1": (700, 600)})
    after = layout(NINE, {"cue": (1180, 840), "1": (700, 600)})
    printed = score_shot(before, after, intent, NINE).to_dict()
    assert (printed["arrival"], printed["arrival_from"], printed["along_mm"]) == (None, None, None)
    assert printed["miss_vector_mm"] == pytest.approx((120, 160), abs=HAND_MM)
    assert printed["outside_zone_mm"] == {"along_mm": None, "across_mm": None}
    assert printed["from_wanted_mm"]["distance_mm"] == pytest.approx(300)


def test_miss_beside_a_wedge() -> None:
    """Cut 10° to 40° on the left, 200 to 300 mm. A stop straight behind the ghost ball, 250 away,
    misses the 10° edge by 250·sin 10° = 43.41 mm. The edge runs at 10° to the line, so from its
    nearest place the vector is 43.41·(cos 10°, −sin 10°) = (42.75, −7.54)."""
    intent = Intent(
        next="1", next_pocket="side-left", cut_deg=(10, 40), side="left", distance_mm=(200, 300)
    )
    there = layout(NINE, {"cue": (1270, 327.85), "1": (1270, 635)})
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.miss_mm == pytest.approx(43.41, abs=HAND_MM)
    assert verdict.miss_vector_mm == pytest.approx((42.75, -7.54), abs=HAND_MM)
    assert verdict.side == "straight"
    assert judged_angle(verdict.cut_deg, intent.cut_deg) == "too straight"


def test_rolling_cue_balls_turn_as_published() -> None:
    """Three-quarter, half and quarter ball: 27.6°, 33.7°, 27.3°."""
    turns = [rolling_turn_deg(math.degrees(math.asin(1 - full))) for full in (0.75, 0.5, 0.25)]
    assert turns == pytest.approx([27.6, 33.7, 27.3], abs=0.06)


def test_the_cut_tells_the_arrival_to_a_range() -> None:
    """Ball 2 at (1270, 1000) for side-left: ghost ball (1270, 942.85), line (0, 1). The cue ball
    at (1270 − 500·sin 45°, 942.85 − 500·cos 45°) cuts it by 45° to the left and goes off to the
    right of its own way, which runs at 45°: rolling at 45 − 29.05 = 15.95°, stunned at 0°. The
    middle of that is 7.97°.

    Wanted (1770, 1000), circle of 50. The stop (1870, 1012.85) lies 600 and 70 from the contact,
    6.65°: it came that way. It is (100, 12.85) from the wanted spot: 100.82 away, at 7.32°, so
    100.82·cos(7.32° − 7.97°) = 100.81 long and 100.82·sin(−0.65°) = −1.14, to the right."""
    start = (1270 - 500 * math.sqrt(0.5), 942.85 - 500 * math.sqrt(0.5))
    intent = Intent.from_dict(
        {"pot": "2", "pocket": "side-left", "zone": {"circle_mm": [1770, 1000, 50]}}
    )
    before = layout(NINE, {"cue": start, "2": (1270, 1000)})
    verdict = score_shot(before, layout(NINE, {"cue": (1870, 1012.85)}), intent, NINE)
    assert (verdict.arrival, verdict.arrival_from) == (None, "cut")
    assert verdict.arrival_range_deg == pytest.approx((0, 15.95), abs=HAND_MM)
    assert verdict.offset_along_mm == pytest.approx(100.81, abs=HAND_MM)
    assert verdict.offset_across_mm == pytest.approx(-1.14, abs=HAND_MM)
    assert any("a range of 16°" in text for text in verdict.warnings)
    # off a cushion, with draw, or after a missed pot the cut says nothing
    for stop, left in (((1270, 300), {}), ((700, 900), {}), ((1870, 1012.85), {"2": (900, 1200)})):
        other = score_shot(before, layout(NINE, {"cue": stop, **left}), intent, NINE)
        assert (other.arrival, other.arrival_from, other.along_mm) == (None, None, None)
    # nor through a ball that lies on the way
    barred = {"5": (1570.0, 978.0)}
    through = score_shot(
        layout(NINE, {"cue": start, "2": (1270, 1000)} | barred),
        layout(NINE, {"cue": (1870, 1012.85)} | barred), intent, NINE,
    )  # fmt: skip
    assert through.arrival_from is None


def test_too_wide_a_range_splits_nothing() -> None:
    """A cut of 10°: rolling at 21.6°, stunned at 80°, 58° apart. The range is told, no split."""
    turn = math.radians(10)
    start = (1270 - 500 * math.sin(turn), 942.85 - 500 * math.cos(turn))
    intent = Intent.from_dict(
        {"pot": "2", "pocket": "side-left", "zone": {"circle_mm": [1500, 1150, 30]}}
    )
    before = layout(NINE, {"cue": start, "2": (1270, 1000)})
    verdict = score_shot(before, layout(NINE, {"cue": (1600, 1150)}), intent, NINE)
    assert verdict.arrival_from == "cut"
    assert verdict.arrival_range_deg is not None
    low, high = verdict.arrival_range_deg
    assert high - low == pytest.approx(80 - 21.65, abs=0.1)
    assert (verdict.along_mm, verdict.offset_along_mm) == (None, None)
    assert (verdict.arrival_line_mm, verdict.zone_widths_mm) == (None, None)
    assert verdict.off_wanted_mm == pytest.approx(100)


def test_the_split_mirrors_with_the_cut() -> None:
    """Cut to the other side: the range mirrors about the line to the pocket."""
    ghost, line = (1270.0, 942.85), (0.0, 1.0)
    ranges = []
    for sign in (-1, 1):
        cue = (1270 + sign * 300 * math.sin(0.5), 942.85 - 300 * math.cos(0.5))
        found = leaving_range_deg(cue, ghost, line)
        assert found is not None
        ranges.append(found)
    (a, b), (c, d) = ranges
    assert (180 - d, 180 - c) == pytest.approx((a, b))
    assert leaving_range_deg((1270.0, 400.0), ghost, line) is None, "straight"
    assert leaving_range_deg((1270.0, 1200.0), ghost, line) is None, "more than 90°"


def test_pot_chance_of_a_straight_shot() -> None:
    """Ball on the centre spot, cue ball 500 straight behind the ghost ball, side pocket 635 away:
    nose points 63.5 to either side: bearing atan(63.5/635) = 5.7106°, 638.17 away, less
    asin(28.575/638.17) = 2.5664°, leaves 3.1442°. The ghost ball for that lies 57.15·sin 3.1442° =
    3.1346 aside and 0.086 ahead: aim error atan(3.1346/500.086) = 0.3591°. With that as the spread
    the pot goes in with probability erf(1/√2) = 0.6827."""
    player = Player(
        aim_spread_deg=0.3591, contact_error_mm=1e-9, throw_spread_deg=1e-9,
        bridge_spread_factor=1.0,
    )  # fmt: skip
    leave = leave_of(
        Intent(next="1", next_pocket="side-left"), NINE, player, {"1": (1270.0, 635.0)}
    )
    assert leave is not None
    chance = float(pot_chance((1270, 77.85), leave))
    assert chance == pytest.approx(0.6827, abs=5e-4)


# -- pockets' own points ---------------------------------------------------------------------


def test_facings_lean_in() -> None:
    """A corner's facing is turned 180 − 142 = 38° off the nose line, the mouth's perpendicular
    45°: 7°. A side's 180 − 104 = 76° against 90°: 14°."""
    assert math.degrees(facing_turn_rad(NINE.pocket("foot-left"))) == pytest.approx(7)
    assert math.degrees(facing_turn_rad(NINE.pocket("side-right"))) == pytest.approx(14)


def test_entry_of_a_ball_straight_before_a_side_pocket() -> None:
    """300 before the mouth: bearing atan(63.5/300) = 11.951°, 306.65 away, asin(28.575/306.65) =
    5.347°: 6.604° to either side (the window's rule of thumb says atan(69.85/600) = 6.640°)."""
    turns = entry_turns_rad((1270, 970), NINE.pocket("side-left"))
    assert turns is not None
    np.testing.assert_allclose(np.degrees(turns), [-6.604, 6.604], rtol=0, atol=0.002)


def test_entry_of_a_ball_that_hangs_in_the_jaws() -> None:
    """Ball at (2470, 30) for foot-right, nose points (2540, 80.82) and (2459.18, 0), aim point
    (2499.59, 40.41): the way there runs at 19.39° off the axis x. Left point: bearing 35.99°, 86.50
    away, asin(28.575/86.50) = 19.29°: up to 16.70°, that is −2.69° off the way. The right point
    lies behind: bearing −109.84°, 31.89 away, 63.64°: from −46.20°, that is −65.59°. So the ball
    goes in over 62.9° of turns, though its way to the aim point itself would touch."""
    turns = entry_turns_rad((2470, 30), NINE.pocket("foot-right"))
    assert turns is not None
    np.testing.assert_allclose(np.degrees(turns), [-65.59, -2.69], rtol=0, atol=HAND_MM)


def test_deep_shelf_and_flat_approach_throw_the_ball_out() -> None:
    """Side pocket, approach 62.5°: more than 90 − 2·14 = 62°, so a ball that touches the far
    facing turns back. A shelf of 4.8 lets it drop before that, one of 60 does not: 60·sin 76.5° /
    cos 62.5° = 126 along the facing's normal, more than the mouth is wide."""
    way = math.radians(62.5)
    ball = (1270 - 400 * math.sin(way), 1270 - 400 * math.cos(way))
    assert entry_turns_rad(ball, NINE.pocket("side-left")) is not None
    deep = replace(NINE, side_shelf_mm=60)
    turns = entry_turns_rad(ball, deep.pocket("side-left"))
    assert turns is None or turns[1] - turns[0] < 0.7 * sum(
        abs(t) for t in entry_turns_rad(ball, NINE.pocket("side-left")) or ()
    )


@pytest.mark.parametrize(
    ("approach_deg", "room_mm", "word"),
    [(0, 34.925, "open"), (60, 3.175, "open"), (65, -1.739, "blocked")],
)
def test_room_between_a_pockets_points(approach_deg: float, room_mm: float, word: str) -> None:
    """Half the mouth, 63.5·cos α, less the ball's radius 28.575: 34.925, 31.75 − 28.575 = 3.175,
    26.836 − 28.575 = −1.739."""
    way = math.radians(approach_deg)
    target = Ball(id="1", x_mm=1270 - 500 * math.sin(way), y_mm=1270 - 500 * math.cos(way))
    cue = Ball(id="cue", x_mm=700, y_mm=200)
    found = clearances(cue, target, NINE.pocket("side-left"), [], NINE)
    rooms = [c.room_mm for c in found if c.leg == "mouth"]
    assert rooms == pytest.approx([room_mm, room_mm], abs=HAND_MM)
    assert mouth_state(found) == word
    assert path_to_pocket(found) == "open", "the points of the pocket are no other ball"


def test_points_too_close_to_call() -> None:
    """Approach 62.9°: 63.5·cos 62.9° − 28.575 = 0.352 of room. The near point lies beside the share
    (500 − 63.5·sin 62.9°)/(500 + 63.5) = 0.787 of the way that ends half a mouth past the aim
    point, the far one beside 0.988: with σ = 1 that is 1.96·0.213 = 0.417 and 0.024: only the near
    one is in doubt."""
    way = math.radians(62.9)
    target = Ball(
        id="1",
        x_mm=1270 - 500 * math.sin(way),
        y_mm=1270 - 500 * math.cos(way),
        cov_mm2=((1.0, 0.0), (0.0, 1.0)),
    )
    cue = Ball(id="cue", x_mm=300, y_mm=700)
    everything = clearances(cue, target, NINE.pocket("side-left"), [], NINE)
    found = [c for c in everything if c.leg == "mouth"]
    assert sorted(c.state for c in found) == ["open", "too close to call"]
    assert sorted(c.uncertainty_mm for c in found) == pytest.approx([0.024, 0.417], abs=0.002)
    assert mouth_state(everything) == "too close to call"


def test_cue_ball_in_the_jaws_is_held_by_a_point() -> None:
    """Cue ball (1270, 5) in the mouth of side-right, ghost ball far to the right along the rail:
    the nose point (1333.5, 0) lies 5 + … below the way. Way to the ghost ball (2000, 240): slope
    235/730, so the point, 63.5 on, lies 5 + 20.44 = 25.44 under it, 24.22 off the way: 3.28 less
    than the 27.5 that a nose keeps off. Straight up the table nothing is in the way."""
    pocket = NINE.pocket("foot-left")
    aim = np.array(pocket.aim_mm)
    for ghost, word in (((2000.0, 240.0), "blocked"), ((1300.0, 900.0), "open")):
        u = (aim - ghost) / math.dist(aim, ghost)
        x, y = np.array(ghost) + 57.15 * (aim - ghost) / math.dist(aim, ghost)
        assert np.allclose(np.array([x, y]) - 57.15 * u, ghost)
        cue = Ball(id="cue", x_mm=1270, y_mm=5)
        found = clearances(cue, Ball(id="1", x_mm=float(x), y_mm=float(y)), pocket, [], NINE)
        assert path_to_pocket(found) == word
        near = min((c for c in found if c.leg == "to ball"), key=lambda c: c.room_mm)
        if word == "blocked":
            assert near.obstacle.startswith("side-right/")
            assert near.room_mm == pytest.approx(-3.28, abs=HAND_MM)


# -- cueing ----------------------------------------------------------------------------------


def test_frozen_cue_ball_needs_elevation() -> None:
    """Frozen behind: the nose is 27.5 away and 36.3 − 28.575 = 7.725 above the centre: 28.565 off,
    at atan(7.725/27.5) = 15.69°, and the shaft needs asin(6.5/28.565) = 13.15° more: 28.84°."""
    found = cueing((1270, 27.5), (1270, 600), [], [], NINE, Player())
    assert found.elevation_deg == pytest.approx(28.84, abs=HAND_MM)
    assert (found.by, found.steep) == ("cushion", True)


def test_level_cue_on_the_nose_strikes_above_the_centre() -> None:
    """36.3 + 6.5 − 28.575 = 14.225, just under half the radius (14.29)."""
    assert level_tip_mm(NINE, Player()) == pytest.approx(14.225)


def test_cue_ball_100_off_the_cushion_meets_the_rail_cap_first() -> None:
    """Nose: atan(7.725/100) + asin(6.5/100.30) = 4.417 + 3.716 = 8.13°. Cap 50 further and 44 −
    28.575 = 15.425 above the centre: atan(15.425/150) + asin(6.5/150.79) = 8.34°."""
    found = cueing((1270, 100), (1270, 600), [], [], NINE, Player())
    assert found.elevation_deg == pytest.approx(8.34, abs=HAND_MM)
    assert (found.by, found.steep) == (None, False)


def test_ball_behind_asks_for_more_than_the_rail() -> None:
    """A ball 150 behind: asin(35.075/150) = 13.52°; a limit of 13° calls that steep."""
    found = cueing(
        (1270, 600), (1270, 900), [(1270, 450)], ["7"], NINE, Player(elevation_limit_deg=13)
    )
    assert found.elevation_deg == pytest.approx(13.52, abs=HAND_MM)
    assert (found.by, found.steep) == ("7", True)


# -- what the stop leaves --------------------------------------------------------------------


def test_degrees_of_too_straight_and_too_much_angle() -> None:
    """Wanted 10 to 40°: 7° is 3 too straight, 52° is 12 too much, 25° is right."""
    assert angle_off_deg(7, (10, 40)) == -3
    assert angle_off_deg(52, (10, 40)) == 12
    assert angle_off_deg(25, (10, 40)) == 0
    assert [judged_angle(cut, (10, 40)) for cut in (7, 25, 52)] == [
        "too straight", "good angle", "too much angle",
    ]  # fmt: skip


def test_what_became_impossible_is_named() -> None:
    """Ball 1 at (1270, 635). The wanted circle is straight below it, so side-left is on; the stop
    (1270, 900) beyond it has a cut of 180° there. Ball 7 at (1000, 800) lies on the way from the
    stop (700, 950) to the ghost ball of foot-right, but not from the wanted spot."""
    intent = {"next": "1", "next_pocket": "side-left", "zone": {"circle_mm": [1270, 300, 50]}}
    before = layout(NINE, {"cue": (300, 300), "1": (1270, 635)})
    after = layout(NINE, {"cue": (1270, 900), "1": (1270, 635)})
    verdict = score_shot(before, after, Intent.from_dict(intent), NINE)
    assert verdict.left is not None
    lost = {found.pocket: found.why for found in verdict.left.impossible}
    assert lost["side-left"] == "the cut would be 180°"
    assert set(lost) == {"side-left", "head-left", "foot-left"}


def test_a_way_that_a_ball_blocks_is_named() -> None:
    """Ball 1 (1270, 635) for side-left: ghost ball (1270, 577.85). Ball 7 on the way from the stop
    (1270, 100) at (1270, 300); from the wanted spot (1400, 250) it lies (130·277.85 … the way runs
    130 aside over 327.85, so 7 is 110.2·0.93 = 102 off it): free."""
    intent = {"next": "1", "next_pocket": "side-left", "zone": {"circle_mm": [1400, 250, 30]}}
    there = layout(NINE, {"cue": (1270, 100), "1": (1270, 635), "7": (1270, 300)})
    verdict = score_shot(there, there, Intent.from_dict(intent), NINE)
    assert verdict.left is not None
    lost = {found.pocket: str(found) for found in verdict.left.impossible}
    assert lost["side-left"] == "ball 1 to side-left: ball 7 blocks the way"


def test_widths_of_a_zone_along_and_across() -> None:
    """A rectangle of 300 by 100 approached along x: 300 deep, 100 wide. Approached at 45° through
    its middle: 100·√2 = 141.42 either way."""
    square = [[1000, 400], [1300, 400], [1300, 500], [1000, 500]]
    zone = landing_zone(layout(NINE, {}), Intent.from_dict({"zone": {"polygon_mm": square}}), NINE)
    assert zone.wanted_mm is not None
    x, y = zone.wanted_mm
    assert zone_widths_mm(zone, ((x - 400, y), (x, y))) == pytest.approx((300, 100), abs=HAND_MM)
    slanted = zone_widths_mm(zone, ((x - 300, y - 300), (x, y)))
    assert slanted == pytest.approx((141.42, 141.42), abs=2.0)


def test_seen_arrival_takes_the_place_of_the_planned_line() -> None:
    """Circle (1000, 600) of radius 100, stop (1180, 840), vector (120, 160). Seen to come from the
    rail at (1180, 1242.5), straight down: t = (0, −1), n = (1, 0): 160 short and 120 left."""
    intent = Intent.from_dict({"zone": {"circle_mm": [1000, 600, 100]}})
    before = layout(NINE, {"cue": (400, 600)})
    after = layout(NINE, {"cue": (1180, 840)})
    verdict = score_shot(before, after, intent, NINE, seen_from_mm=(1180, 1242.5))
    assert verdict.arrival == "seen"
    assert verdict.along_mm == pytest.approx(-160, abs=HAND_MM)
    assert verdict.across_mm == pytest.approx(120, abs=HAND_MM)


def test_route_gives_the_arrival_line() -> None:
    """The same stop; the route's last stretch runs down from (1000, 1242.5) to (1000, 600)."""
    intent = Intent.from_dict(
        {
            "zone": {"circle_mm": [1000, 600, 100]},
            "route_mm": [[400, 600], [1000, 1242.5], [1000, 600]],
        }
    )
    before = layout(NINE, {"cue": (400, 600)})
    verdict = score_shot(before, layout(NINE, {"cue": (1180, 840)}), intent, NINE)
    assert verdict.arrival == "planned"
    assert verdict.along_mm == pytest.approx(-160, abs=HAND_MM)
    assert verdict.across_mm == pytest.approx(120, abs=HAND_MM)
    assert verdict.zone_widths_mm == pytest.approx((200, 200), abs=0.1)


# -- spreads ---------------------------------------------------------------------------------


def test_aim_spread_of_equal_windows_has_a_closed_form() -> None:
    """30 straight shots over 10 m with a half-window of 17.453 mm, 0.1° there, 24 made: 0.8 =
    erf(h/(σ√2)), so h/σ = 1.2816 and σ = 0.07803°, 13.62 mm; the contact's 0.8 mm take
    √(13.62² − 0.8²) = 13.60 mm of it, 0.07790°. A straight shot has no throw."""
    shots = [
        AimedShot(window_mm=17.453, way_mm=10000, half_turn_deg=17.8, throw_share=0.0, made=i < 24)
        for i in range(30)
    ]
    found = fit_pot_spreads(shots, Player())["aim_spread_deg"]
    assert found.fitted
    assert found.value == pytest.approx(0.07790, rel=0.006)
    assert found.low < found.value < found.high


def test_route_spreads_are_root_mean_squares() -> None:
    """20 stops of a way of 1000, along ±100 and across ±50: shares 0.1 and turns atan 0.05 =
    2.862°; 95 %: ·√(20/χ²), χ² = 34.17 and 9.591: 0.765 and 1.444 times."""
    stops = [
        RouteStop(way_mm=1000, along_mm=100 * (-1) ** i, across_mm=50 * (-1) ** (i // 2))
        for i in range(20)
    ]
    speed, line = fit_route_spreads(stops)
    assert (speed.value, speed.low, speed.high) == pytest.approx((0.1, 0.0765, 0.1444), abs=1e-4)
    assert line.value == pytest.approx(2.862, abs=1e-3)
