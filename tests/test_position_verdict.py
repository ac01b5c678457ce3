"""Verdicts: the printed object, probabilities, doubts, scratches, misses of the pot."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from position_layouts import layout
from scipy.stats import norm

from calibration.table import Table
from service.position import Intent, Verdict, score_shot
from service.position.verdict.judged import judged_angle, judged_side
from service.position.verdict.probability import root_mm

NINE = Table()
KEYS = [
    "verdict", "p_in", "miss_mm", "miss_vector_mm", "along_mm", "across_mm", "arrival",
    "cue_stop_mm", "cut_deg", "side", "hooked", "path_to_pocket", "frozen", "reach", "potted",
    "scratch", "pot_chance", "pot_chance_given_up", "zone_empty", "warnings",
    "arrival_from", "arrival_range_deg", "outside_zone_mm", "from_wanted_mm", "wanted_mm",
    "assumed",
]  # fmt: skip
CHANCE = 0.01
"""4096 evenly spread deviates give a probability to about this."""
LEAVE = {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}
BEFORE = {"cue": (1800.0, 800.0), "3": (2200.0, 1000.0), "4": (1270.0, 400.0), "9": (300.0, 300.0)}


def _after(**places: tuple[float, float]) -> dict[str, tuple[float, float]]:
    return {name: place for name, place in (BEFORE | places).items() if name != "3"}


def _score(after: dict[str, tuple[float, float]], **intent: object) -> Verdict:
    return score_shot(
        layout(NINE, BEFORE), layout(NINE, after), Intent.from_dict(LEAVE | intent), NINE
    )


def test_printed_object_has_its_keys_and_is_json() -> None:
    verdict = _score(
        _after(cue=(1270.0, 800.0)),
        cut_deg=[0, 40], distance_mm=[100, 600], route_mm=[[2150, 950], [1270, 800]],
    )  # fmt: skip
    out = json.loads(json.dumps(verdict.to_dict(), allow_nan=False))
    assert list(out) == KEYS
    assert out["verdict"] == "in"
    assert out["p_in"] == 1.0
    assert (out["miss_mm"], out["miss_vector_mm"]) == (0.0, [0.0, 0.0])
    assert (out["along_mm"], out["across_mm"], out["arrival"]) == (0.0, 0.0, "planned")
    assert out["cue_stop_mm"] == [1270.0, 800.0]
    assert (out["side"], out["hooked"], out["path_to_pocket"]) == ("straight", "no", "open")
    assert (out["frozen"], out["reach"], out["scratch"]) == (False, "hand", False)
    assert (out["potted"], out["zone_empty"], out["warnings"]) == (["3"], False, [])
    assert verdict.pot_made is True
    assert judged_angle(verdict.cut_deg, (0.0, 90.0)) == "good angle"


def test_zone_and_wanted_spot_may_lie_on_two_sides() -> None:
    """An angle of two arms, route along +x: the stop lies left of the nearest arm and right of
    the wanted spot in the other. Each split is that of its own vector, by its own name."""
    arms = [[500, 300], [1100, 300], [1100, 900], [900, 900], [900, 340], [500, 340]]
    intent = Intent.from_dict({"zone": {"polygon_mm": arms}, "route_mm": [[300, 600], [1000, 600]]})
    there = layout(NINE, {"cue": (600.0, 400.0)})
    verdict = score_shot(there, there, intent, NINE)
    printed = verdict.to_dict()
    assert printed["outside_zone_mm"] == pytest.approx({"along_mm": 0, "across_mm": 60})
    assert (printed["along_mm"], printed["across_mm"]) == pytest.approx((0, 60))
    wanted = printed["wanted_mm"]
    assert wanted[1] > 400
    assert printed["from_wanted_mm"] == pytest.approx(
        {
            "distance_mm": math.dist(wanted, (600, 400)),
            "along_mm": 600 - wanted[0],
            "across_mm": 400 - wanted[1],
        }
    )


def test_scratch_has_no_stop() -> None:
    after = _after()
    del after["cue"]
    verdict = _score(after)
    out = verdict.to_dict()
    assert out["scratch"] is True
    assert out["verdict"] == "out"
    assert out["p_in"] == 0.0
    for key in (
        "miss_mm", "miss_vector_mm", "along_mm", "across_mm", "arrival", "cue_stop_mm", "cut_deg",
        "side", "hooked", "path_to_pocket", "frozen", "reach", "pot_chance", "pot_chance_given_up",
    ):  # fmt: skip
        assert out[key] is None, key
    assert out["potted"] == ["3"]
    assert out["warnings"] == ["scratch: the cue ball is not on the table"]
    assert verdict.zone is not None
    assert not verdict.zone.is_empty


def test_missed_pot_is_said_and_position_scored_all_the_same() -> None:
    after = BEFORE | {"cue": (1270.0, 800.0), "3": (2400.0, 1100.0)}
    verdict = score_shot(layout(NINE, BEFORE), layout(NINE, after), Intent.from_dict(LEAVE), NINE)
    assert verdict.warnings == ("pot 3 missed",)
    assert verdict.potted == ()
    assert verdict.pot_made is False
    assert verdict.verdict == "in"


def test_missed_ball_counts_where_it_lies() -> None:
    """Ball 3 came to rest between cue ball and ghost ball (1270, 457.15)."""
    after = BEFORE | {"cue": (1270.0, 800.0), "3": (1270.0, 600.0)}
    verdict = score_shot(layout(NINE, BEFORE), layout(NINE, after), Intent.from_dict(LEAVE), NINE)
    assert (verdict.verdict, verdict.path_to_pocket, verdict.hooked) == ("out", "blocked", "yes")
    assert verdict.pot_chance is not None
    assert verdict.pot_chance_given_up is not None
    assert verdict.pot_chance_given_up > 0.9


def test_wrong_side_and_too_much_angle() -> None:
    """Ghost ball (1270, 457.15); the stop 200 right of u = (0, −1) and 100 behind: cut atan(2)."""
    verdict = _score(_after(cue=(1070.0, 557.15)), side="left", cut_deg=[10, 40])
    assert verdict.side == "right"
    assert judged_side(verdict.side, "left") == "wrong side"
    assert verdict.cut_deg == pytest.approx(math.degrees(math.atan(2)), abs=1e-9)
    assert judged_angle(verdict.cut_deg, (10.0, 40.0)) == "too much angle"
    assert verdict.verdict == "out"


def test_stop_on_the_far_side_cannot_be_cut() -> None:
    verdict = _score(_after(cue=(1270.0, 300.0)))
    assert verdict.cut_deg == pytest.approx(180, abs=1e-6)
    assert any(
        "cannot be cut to side-right from there: the cut is 180°" in w for w in verdict.warnings
    )


def test_next_ball_potted_as_well_leaves_no_zone() -> None:
    after = _after()
    del after["4"]
    verdict = _score(after)
    assert (verdict.verdict, verdict.zone_empty, verdict.miss_mm) == ("out", True, None)
    assert verdict.potted == ("3", "4")
    assert verdict.cut_deg is None
    assert verdict.warnings == ("no landing zone on this layout: next ball 4 is not on the table",)


def test_without_an_intent_only_what_happened_is_said() -> None:
    out = score_shot(layout(NINE, BEFORE), layout(NINE, _after()), None, NINE).to_dict()
    assert out["potted"] == ["3"]
    assert out["cue_stop_mm"] == [1800.0, 800.0]
    assert out["frozen"] is False
    for key in ("verdict", "p_in", "miss_mm", "zone_empty", "cut_deg", "pot_chance"):
        assert out[key] is None


def test_drawn_zone_without_next_ball_has_no_cut() -> None:
    intent = Intent.from_dict({"zone": {"circle_mm": [1800, 800, 50]}})
    out = score_shot(layout(NINE, BEFORE), layout(NINE, _after()), intent, NINE).to_dict()
    assert (out["verdict"], out["zone_empty"]) == ("in", False)
    for key in ("cut_deg", "side", "hooked", "path_to_pocket", "reach", "pot_chance"):
        assert out[key] is None


def test_drawn_zone_with_next_ball_has_a_cut() -> None:
    intent = Intent.from_dict(LEAVE | {"zone": {"circle_mm": [1800, 800, 50]}})
    out = score_shot(layout(NINE, BEFORE), layout(NINE, _after()), intent, NINE).to_dict()
    assert out["cut_deg"] == pytest.approx(math.degrees(math.atan2(530, 342.85)), abs=1e-9)
    assert out["path_to_pocket"] == "open"


def test_balls_that_moved_or_appeared_or_are_doubtful_are_named() -> None:
    after = layout(NINE, _after(**{"9": (320.0, 300.0), "8": (700.0, 900.0)}))
    doubtful = replace(after, balls=tuple(replace(b, doubtful=b.id == "4") for b in after.balls))
    verdict = score_shot(layout(NINE, BEFORE), doubtful, Intent.from_dict(LEAVE), NINE)
    assert set(verdict.warnings) == {
        "after the shot the name of ball 4 is in doubt",
        "ball 9 moved 20 mm",
        "ball 8 is there only after the shot",
    }


def test_arrival_is_unknown_without_cue_ball_and_pot() -> None:
    before = {name: place for name, place in BEFORE.items() if name != "cue"}
    intent = Intent.from_dict({"zone": {"circle_mm": [1500, 800, 50]}})
    verdict = score_shot(layout(NINE, before), layout(NINE, _after()), intent, NINE)
    assert (verdict.arrival, verdict.along_mm, verdict.across_mm) == (None, None, None)
    assert verdict.miss_mm == pytest.approx(250)
    assert any("no arrival line is known" in text for text in verdict.warnings)


@pytest.mark.parametrize(
    ("stop", "frozen"),
    [
        ((1270.0, 27.5), True),
        ((1270.0, 27.9), True),
        ((1270.0, 28.6), False),
        ((27.5, 700.0), True),
        ((300.0 + 57.15, 300.0), True),
        ((300.0 + 57.6, 300.0), True),
        ((300.0 + 58.7, 300.0), False),
    ],
)
def test_frozen(stop: tuple[float, float], frozen: bool) -> None:
    """Cushion at 27.5 from its nose line, ball 9 (300, 300) at 57.15; half a mm of slack."""
    assert _score(_after(cue=stop)).frozen is frozen


def test_frozen_takes_the_error_into_account() -> None:
    """1.1 mm from the cushion with σ = 0.6: within 1.96 σ = 1.18 mm."""
    for variance, frozen in ((0.36, True), (0.25, False)):
        after = layout(NINE, _after(cue=(1270.0, 28.6)), cov_mm2=((variance, 0.0), (0.0, variance)))
        assert score_shot(layout(NINE, BEFORE), after, None, NINE).frozen is frozen


# -- how sure ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("offset_sigmas", "word"),
    [
        (-3.0, "in"),
        (-2.2, "in"),
        (-1.7, "too close to call"),
        (0.0, "too close to call"),
        (0.5, "too close to call"),
        (2.2, "out"),
        (3.0, "out"),
    ],
)
def test_probability_at_a_straight_edge(offset_sigmas: float, word: str) -> None:
    """A long straight edge at x = 1000: p = Φ(−offset/σ)."""
    square = [[500, 100], [1000, 100], [1000, 1100], [500, 1100]]
    intent = Intent.from_dict({"zone": {"polygon_mm": square}})
    cov = ((4.0, 0.0), (0.0, 9.0))
    there = layout(NINE, {"cue": (1000 + 2 * offset_sigmas, 600)}, cov_mm2=cov)
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.p_in == pytest.approx(norm.cdf(-offset_sigmas), abs=CHANCE)
    assert verdict.verdict == word


def test_probability_at_an_oblique_edge_with_correlated_error() -> None:
    """Half plane x + y ≤ 1600, stop (1001, 601): the edge is 2/√2 off, the spread along
    (1, 1)/√2 is √((4 + 2·1.5 + 9)/2) = 2.8284, p = Φ(−1.41421/2.8284) = Φ(−0.5) = 0.3085."""
    zone = {"polygon_mm": [[400, 1200], [1500, 100], [100, 100], [100, 1200]]}
    there = layout(NINE, {"cue": (1001, 601)}, cov_mm2=((4.0, 1.5), (1.5, 9.0)))
    verdict = score_shot(there, there, Intent.from_dict({"zone": zone}), NINE)
    assert verdict.p_in == pytest.approx(0.3085, abs=CHANCE)


def test_probability_in_a_small_circle() -> None:
    """Round error σ = 3 about the middle of a circle of radius 3: 1 − exp(−½) = 0.3935."""
    intent = Intent.from_dict({"zone": {"circle_mm": [800, 600, 3]}})
    there = layout(NINE, {"cue": (800, 600)}, cov_mm2=((9.0, 0.0), (0.0, 9.0)))
    verdict = score_shot(there, there, intent, NINE)
    assert verdict.p_in == pytest.approx(0.3935, abs=CHANCE)
    assert (verdict.verdict, verdict.miss_mm) == ("too close to call", 0.0)


def test_error_of_the_next_ball_counts_too() -> None:
    """Straight behind the ghost ball at the near limit of 300: only the next ball's place is
    uncertain, σ = 2 along the line, so being beyond 299 has p = Φ(1/2) = 0.6915."""
    intent = Intent(next="4", next_pocket="side-right", distance_mm=(299.0, 800.0))
    there = layout(NINE, {"cue": (1270, 757.15), "4": (1270, 400)})
    cov = ((0.0, 0.0), (0.0, 4.0))
    uncertain = replace(
        there, balls=tuple(replace(b, cov_mm2=cov) if b.id == "4" else b for b in there.balls)
    )
    assert score_shot(there, there, intent, NINE).p_in == 1.0
    verdict = score_shot(there, uncertain, intent, NINE)
    assert verdict.p_in == pytest.approx(norm.cdf(0.5), abs=CHANCE)


def test_doubtful_path_makes_the_verdict_doubtful() -> None:
    """A ball 57.15 + 0.5 beside the way with σ = 0.5 each: the path is too close to call, and so
    is the verdict of a stop that lies well within every other limit."""
    after = _after(cue=(1270.0, 1000.0), **{"9": (1270.0 + 57.65, 700.0)})
    exact = _score(after)
    assert (exact.verdict, exact.path_to_pocket) == ("in", "open")
    cov = ((0.25, 0.0), (0.0, 0.25))
    verdict = score_shot(
        layout(NINE, BEFORE, cov_mm2=cov),
        layout(NINE, after, cov_mm2=cov),
        Intent.from_dict(LEAVE),
        NINE,
    )
    assert (verdict.verdict, verdict.path_to_pocket) == ("too close to call", "too close to call")


def test_same_reading_gives_the_same_figure() -> None:
    there = layout(NINE, {"cue": (1001, 601)}, cov_mm2=((4.0, 1.5), (1.5, 9.0)))
    intent = Intent.from_dict({"zone": {"circle_mm": [1000, 600, 4]}})
    assert score_shot(there, there, intent, NINE) == score_shot(there, there, intent, NINE)


def test_root_of_a_covariance() -> None:
    """Squares back; a negative eigenvalue from rounding counts as none."""
    cov = np.array([[4.0, 1.5], [1.5, 9.0]])
    np.testing.assert_allclose(root_mm(cov) @ root_mm(cov), cov, rtol=0, atol=1e-12)
    np.testing.assert_allclose(root_mm([[-1e-15, 0.0], [0.0, 4.0]]), [[0, 0], [0, 2]], atol=1e-12)


@pytest.mark.parametrize(
    ("left", "wanted", "said"),
    [
        ("left", "left", "right side"),
        ("left", "right", "wrong side"),
        ("straight", "right", ""),
        ("left", "either", ""),
        (None, "left", ""),
        ("left", None, ""),
    ],
)
def test_side_is_judged_only_where_one_was_asked(
    left: str | None, wanted: str | None, said: str
) -> None:
    assert judged_side(left, wanted) == said


# -- the next pocket left open -------------------------------------------------------------


def test_an_open_pocket_is_judged_by_the_best_one() -> None:
    """Straight behind ball 4 for side-right; the pocket judged is named in a warning."""
    intent = {"pot": "3", "pocket": "foot-left", "next": "4", "cut_deg": [0, 40]}
    verdict = score_shot(
        layout(NINE, BEFORE),
        layout(NINE, _after(cue=(1270.0, 800.0))),
        Intent.from_dict(intent),
        NINE,
    )
    assert verdict.verdict == "in"
    assert verdict.left is not None
    assert verdict.left.pocket == "side-right"
    assert verdict.pot_chance == max(verdict.left.chance_by_pocket.values())
    assert "no next pocket was named: judged for ball 4 to side-right" in verdict.warnings


def test_flat_approach_is_said_and_has_no_chance() -> None:
    """Ball 4 near the right rail, 400 before side-right: no clean entry, though both legs of the
    way are free of other balls."""
    after = _after(**{"4": (870.0, 63.0), "cue": (500.0, 120.0)})
    verdict = score_shot(
        layout(NINE, BEFORE | {"4": (870.0, 63.0)}),
        layout(NINE, after),
        Intent.from_dict(LEAVE),
        NINE,
    )
    assert verdict.path_to_pocket == "open"
    assert verdict.pot_chance == 0
    assert verdict.left is not None
    assert verdict.left.mouth == "blocked"
    assert "ball 4 approaches side-right too flatly for a clean entry" in verdict.warnings


def test_cut_beyond_a_right_angle_is_no_shot() -> None:
    """The ways are open by their words, but there is no shot: the chance is 0 and it is said."""
    verdict = _score(_after(cue=(1270.0, 300.0)))
    assert verdict.path_to_pocket == "open"
    assert verdict.pot_chance == 0
    assert any("cannot be cut to side-right" in text for text in verdict.warnings)
