"""Fixed cases of position geometry, each with its arithmetic by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from position_layouts import layout

from calibration.table import Table
from service.position import Intent, Player, landing_zone, score_shot
from service.position.cut import cut_deg, distance_mm, fullness, ghost_ball_mm, side
from service.position.hooked import hooked, visible_share
from service.position.judged import judged_angle
from service.position.membership import leave_of
from service.position.path import clearances, ghost_room_mm, path_to_pocket
from service.position.reach import over_ball, reach
from service.position.value import pot_chance
from service.position.window import approach_deg, margin_deg, window_mm
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
    """Shooting to the foot from the centre spot: 1270 back to the head nose line (hand: 1100),
    635 to the left (a right-hander's body side: 600) and to the right (300): bridge. From y = 700
    it is 570 to the left: by hand; a left-hander, body on the right, needs the bridge."""
    right, left = Player(), Player(handedness="left")
    assert reach((1270, 635), (1800, 635), NINE, right) == "bridge"
    assert reach((1270, 700), (1800, 700), NINE, right) == "hand"
    assert reach((1270, 700), (1800, 700), NINE, left) == "bridge"
    assert reach((1270, 570), (1800, 570), NINE, left) == "hand"
    assert reach((1050, 635), (1800, 635), NINE, right) == "hand"


def test_out_of_reach() -> None:
    """From (1270, 635) along the table with a bridge that spans 1200 back and 400 to either side:
    1270 and 635 are farther."""
    short = Player(bridge_back_mm=1200, bridge_body_side_mm=600, bridge_off_side_mm=400)
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
    circle, along (0.6, 0.8): vector (120, 160). The cue ball came from (400, 600), towards +x:
    120 long and 160 left."""
    intent = Intent.from_dict({"zone": {"circle_mm": [1000, 600, 100]}})
    before = layout(NINE, {"cue": (400, 600), "1": (2000, 300)})
    after = layout(NINE, {"cue": (1180, 840), "1": (2000, 300)})
    verdict = score_shot(before, after, intent, NINE)
    assert verdict.verdict == "out"
    assert verdict.miss_mm == pytest.approx(200, abs=HAND_MM)
    assert verdict.miss_vector_mm == pytest.approx((120, 160), abs=HAND_MM)
    assert verdict.along_mm == pytest.approx(120, abs=HAND_MM)
    assert verdict.across_mm == pytest.approx(160, abs=HAND_MM)


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


def test_miss_is_split_along_the_planned_line_from_the_potted_ball() -> None:
    """Ball 2 at (1270, 1000) for side-left: its ghost ball is (1270, 942.85). The wanted spot is
    the circle's middle (1270, 400): the line runs towards −y. The stop (1300, 200) lies 30 aside
    and 200 past the middle, √40900 = 202.24 away: a miss of 102.24 along (30, −200)/202.24 =
    (0.1483, −0.9889): 101.11 long; +x is left of someone who looks towards −y: 15.17 left."""
    intent = Intent.from_dict(
        {"pot": "2", "pocket": "side-left", "zone": {"circle_mm": [1270, 400, 100]}}
    )
    before = layout(NINE, {"cue": (1270, 300), "2": (1270, 1000)})
    after = layout(NINE, {"cue": (1300, 200)})
    verdict = score_shot(before, after, intent, NINE)
    assert verdict.arrival == "planned"
    assert verdict.arrival_line_mm is not None
    np.testing.assert_allclose(
        verdict.arrival_line_mm, [(1270, 942.85), (1270, 400)], rtol=0, atol=1e-9
    )
    assert verdict.along_mm == pytest.approx(101.11, abs=HAND_MM)
    assert verdict.across_mm == pytest.approx(15.17, abs=HAND_MM)
    assert verdict.potted == ("2",)


def test_pot_chance_of_a_straight_shot() -> None:
    """Ball on the centre spot, cue ball 500 straight behind the ghost ball, side pocket 635 away:
    margin atan(69.85/1270) = 3.148°. The ghost ball for that margin lies 57.15·sin 3.148° = 3.139
    aside and 0.086 ahead: aim error atan(3.139/500.086) = 0.3596°. With that as the spread the
    pot goes in with probability erf(1/√2) = 0.6827."""
    player = Player(aim_spread_deg=0.3596, bridge_spread_factor=1.0)
    leave = leave_of(
        Intent(next="1", next_pocket="side-left"), NINE, player, {"1": (1270.0, 635.0)}
    )
    assert leave is not None
    chance = float(pot_chance((1270, 77.85), leave))
    assert chance == pytest.approx(0.6827, abs=5e-4)
