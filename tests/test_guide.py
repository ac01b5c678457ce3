"""The set-up guide: which ball goes where, in which order, when it is done, what is in doubt."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from laid_out import COV_MM2, SURFACE_MM, laid, layouts, places

from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, Table
from service.drawing import guide_svg
from service.guide import SetUpError, guided, set_up_error
from service.guide.errors import GuideError
from service.guide.moves import chance_within
from service.guide.set_up import cuts_deg
from service.guide.steps import LIFT, MOVE, PUT_ON, TAKE_OFF
from service.position import Intent
from service.words.laying.guide import (
    move_words,
    nearest_rails,
    off_words,
    set_up_words,
    state_words,
    step_words,
    swap_words,
)
from service.words.lengths import Lengths, Units
from vision.layout import Layout

WANTED = {"cue": (500.0, 600.0), "3": (2000.0, 900.0), "7": (1500.0, 300.0)}


def moved(layout: Layout, by: dict[str, tuple[float, float]]) -> Layout:
    """Balls shifted by so many mm."""
    return replace(
        layout,
        balls=tuple(
            replace(b, x_mm=b.x_mm + by.get(b.id, (0, 0))[0], y_mm=b.y_mm + by.get(b.id, (0, 0))[1])
            for b in layout.balls
        ),
    )


def doubt(layout: Layout, name: str, *others: str) -> Layout:
    """The ball of that name in doubt."""
    runners = tuple((other, 0.2) for other in others)
    return replace(
        layout,
        balls=tuple(
            replace(b, doubtful=True, confidence=0.6, runners_up=runners) if b.id == name else b
            for b in layout.balls
        ),
    )


def test_a_ball_is_told_its_way_by_the_rails_it_goes_toward():
    found = guided(laid(WANTED), moved(laid(WANTED), {"3": (-42.0, -7.0)}))
    (move,) = found.wrong
    assert move.ball == "3"
    assert move.toward == (("foot", pytest.approx(42.0)), ("left", pytest.approx(7.0)))
    words = "toward the foot rail 42 mm, toward the left long rail 7.0 mm"
    assert move_words(move) == words
    assert state_words(found) == f"2 of 3 balls stand right. Next: ball 3 {words}."
    told = move.to_dict(SURFACE_MM)
    assert told["off_mm"] == pytest.approx(math.hypot(42, 7))
    assert told["off_diamonds"] == pytest.approx(math.hypot(42, 7) / 317.5)
    assert [part["diamonds"] for part in told["toward"]] == pytest.approx([42 / 317.5, 7 / 317.5])


@pytest.mark.parametrize(
    ("by_mm", "rails"),
    [
        ((10, 0), ["head", "left"]),
        ((-10, 0), ["foot", "left"]),
        ((0, 10), ["right", "foot"]),
        ((0, -10), ["left", "foot"]),
    ],
)
def test_ways_run_back_to_the_place(by_mm, rails):
    (move,) = guided(laid(WANTED), moved(laid(WANTED), {"7": by_mm})).wrong
    assert move.toward[0][0] == rails[0]
    assert move.toward[1][1] == pytest.approx(0, abs=1e-9)


@given(
    layouts,
    st.floats(1, 30),
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=8, max_size=8),
)
def test_done_exactly_when_every_ball_is_within_the_tolerance(wanted, tolerance_mm, shifts):
    by = dict(zip((ball.id for ball in wanted.balls), shifts, strict=False))
    found = guided(wanted, moved(wanted, by), tolerance_mm=tolerance_mm)
    within = all(math.hypot(*by[ball.id]) <= tolerance_mm - 1e-9 for ball in wanted.balls)
    beyond = any(math.hypot(*by[ball.id]) > tolerance_mm + 1e-9 for ball in wanted.balls)
    assert found.is_done or not within
    assert not (found.is_done and beyond)
    assert found.is_done == (not found.steps)
    assert len(found.moves) == len(wanted.balls)


@given(layouts, st.sampled_from(["extra", "missing", "obstructed", "unsettled"]))
def test_nothing_else_than_all_balls_on_a_clear_table_is_done(wanted, what):
    now = wanted
    if what == "extra":
        name = next(
            n for n in ("15", "14", "13", "12", "11", "10", "9", "8", "2") if not wanted.ball(n)
        )
        spare = replace(wanted.balls[0], id=name, x_mm=30.0, y_mm=30.0)
        now = replace(wanted, balls=(*wanted.balls, spare))
    elif what == "missing":
        now = replace(wanted, balls=wanted.balls[1:])
    else:
        now = replace(
            wanted, **{"obstructed": {"obstructed": True}, "unsettled": {"settled": False}}[what]
        )
    found = guided(wanted, now)
    assert not found.is_done
    assert not state_words(found).startswith("Done")
    assert guided(wanted, wanted).is_done


@given(places(most=7), places(most=7))
def test_no_ball_is_put_where_another_still_lies(wanted, now):
    found = guided(laid(wanted), laid(now))
    lying = {ball.id: ball.centre_mm for ball in found.now.balls}
    for step in found.steps:
        if step.do == PUT_ON:
            assert step.ball not in lying
        else:
            assert step.at_mm == lying.pop(step.ball)
        if step.to_mm is not None:
            near = [
                n for n, place in lying.items() if math.dist(place, step.to_mm) < BALL_DIAMETER_MM
            ]
            # a ball that stands right is not moved again; it may be off by the tolerance
            allowed = BALL_DIAMETER_MM - found.tolerance_mm
            assert all(math.dist(lying[n], step.to_mm) >= allowed for n in near)
            lying[step.ball] = step.to_mm
    assert lying.keys() == wanted.keys()
    assert all(
        math.dist(lying[name], place) <= found.tolerance_mm for name, place in wanted.items()
    )


def test_of_two_balls_in_each_others_places_one_is_lifted():
    wanted = laid({"3": (500, 500), "7": (900, 500), "cue": (100, 100)})
    now = laid({"3": (900, 500), "7": (500, 500), "cue": (300, 900)})
    found = guided(wanted, now)
    assert [(s.do, s.ball) for s in found.steps] == [
        (LIFT, "3"), (MOVE, "7"), (PUT_ON, "3"), (MOVE, "cue"),
    ]  # fmt: skip
    (swap,) = found.swaps
    assert set(swap.balls) == {"3", "7"}
    assert swap.saves_mm == pytest.approx(800)
    assert "800 mm" in swap_words(swap.balls, swap.saves_mm)
    assert step_words(found.steps[0]).startswith("lift ball 3 off")


def test_the_cue_ball_is_never_offered_for_another():
    found = guided(
        laid({"3": (500, 500), "cue": (900, 500)}), laid({"cue": (500, 500), "3": (900, 500)})
    )
    assert not found.swaps


def test_balls_to_take_off_come_first_and_missing_ones_are_put_on():
    found = guided(laid(WANTED), laid({"cue": (500, 600), "9": (1500, 310), "3": (2000, 900)}))
    assert [(s.do, s.ball) for s in found.steps] == [(TAKE_OFF, "9"), (PUT_ON, "7")]
    assert step_words(found.steps[0]) == "take ball 9 off"
    assert step_words(found.steps[1]) == (
        "put ball 7 on the table, 1040 mm from the foot rail and 300 mm from the right long rail"
    )
    assert state_words(found) == "2 of 3 balls stand right. Next: take ball 9 off."


def test_a_name_in_doubt_goes_where_it_costs_least_and_that_is_said():
    now = doubt(doubt(laid(WANTED), "3", "7"), "7", "3")
    swapped = replace(now, balls=tuple(
        replace(b, id={"3": "7", "7": "3"}.get(b.id, b.id),
                runners_up=tuple((b.id, p) for _, p in b.runners_up)) for b in now.balls
    ))  # fmt: skip
    found = guided(laid(WANTED), swapped)
    assert found.is_done
    assert not found.is_sure
    assert {m.ball: m.now.id for m in found.moves if m.is_renamed} == {"3": "7", "7": "3"}
    assert [n.code for n in found.notices] == ["name-in-doubt", "name-in-doubt"]
    assert "Look at the number of ball 3 and ball 7." in state_words(found)


def test_a_sure_name_is_never_taken_for_another():
    swapped = laid({"cue": (500, 600), "7": (2000, 900), "3": (1500, 300)})
    found = guided(laid(WANTED), swapped)
    assert not any(move.is_renamed for move in found.moves)
    assert len(found.wrong) == 2


def test_a_doubtful_name_that_is_not_wanted_may_be_the_missing_ball():
    now = doubt(laid({"cue": (500, 600), "3": (2000, 900), "15": (1500, 300)}), "15", "7")
    found = guided(laid(WANTED), now)
    assert not found.missing
    assert not found.extra
    assert next(m for m in found.moves if m.ball == "7").now.id == "15"


def test_a_reading_that_is_coarse_against_the_tolerance_is_said():
    rough = laid(WANTED, cov=((4.0, 0.0), (0.0, 4.0)))
    found = guided(laid(WANTED), moved(rough, {"3": (5.0, 0.0)}), tolerance_mm=6)
    (notice,) = found.notices
    assert notice.code == "coarse-reading"
    assert notice.fields["ids"] == ["cue", "3", "7"]
    assert found.is_done
    three = next(m for m in found.moves if m.ball == "3")
    assert not three.is_sure
    assert "too close to call" in move_words(three)
    assert "cannot tell ball 3 for sure" in state_words(found)
    assert not guided(laid(WANTED), laid(WANTED), tolerance_mm=6).notices


@given(
    st.floats(0, 12), st.floats(0, 12), st.floats(0.05, 6), st.floats(0.05, 6),
    st.floats(-0.95, 0.95), st.floats(0.5, 20),
)  # fmt: skip
@example(10.0, 5.0, 0.0625, 2.0, 0.0, 12.0)
def test_the_chance_to_be_within_is_that_of_many_draws(x, y, sx, sy, rho, radius):
    cov = ((sx * sx, rho * sx * sy), (rho * sx * sy, sy * sy))
    drawn = np.random.default_rng(1).multivariate_normal((x, y), cov, 40_000)
    share = float((np.hypot(*drawn.T) <= radius).mean())
    # six standard errors of 40,000 draws at the worst share
    assert chance_within((x, y), cov, radius) == pytest.approx(share, abs=0.015)


def test_a_reading_without_error_is_certain():
    exact = ((0.0, 0.0), (0.0, 0.0))
    assert chance_within((3, 4), exact, 5.0) == 1
    assert chance_within((3, 4.1), exact, 5.0) == 0


@pytest.mark.parametrize("tolerance", [0.4, 101, math.nan, math.inf, "6", True, None])
def test_a_tolerance_out_of_bounds_is_refused(tolerance):
    with pytest.raises(GuideError, match=r"tolerance_mm: got .*; allowed: 0.5 to 100 mm"):
        guided(laid(WANTED), laid(WANTED), tolerance_mm=tolerance)


def test_a_layout_of_another_table_is_refused():
    other = replace(laid({"cue": (500, 500)}), surface_mm=(2235.2, 1117.6))
    with pytest.raises(GuideError, match="allowed: this table's 2540x1270 mm") as refused:
        guided(other, laid(WANTED))
    assert refused.value.code == "other-surface"


@pytest.mark.parametrize(
    ("place", "rails"),
    [
        ((100, 100), (("head", 100), ("right", 100))),
        ((2400, 1200), (("foot", 140), ("left", 70))),
        ((1270, 635), (("head", 1270), ("right", 635))),
    ],
)
def test_a_place_is_told_from_the_nearer_rails(place, rails):
    assert nearest_rails(place, SURFACE_MM) == rails


def test_distances_stand_beside_diamonds():
    assert off_words(43.4, Lengths(surface_mm=SURFACE_MM)) == "43 mm (0.14 diamonds)"
    in_diamonds = Lengths(units=Units.DIAMONDS, surface_mm=SURFACE_MM)
    assert off_words(43.4, in_diamonds) == "0.14 diamonds"


# -- the set-up's own error ------------------------------------------------------------------


def test_the_error_of_a_set_up_is_where_the_balls_lay_minus_where_they_belong():
    before = moved(laid(WANTED), {"3": (6.0, 0.0), "cue": (-1.0, 2.0)})
    error = set_up_error(laid(WANTED), before, layout_id=4, tolerance_mm=6.0)
    assert {b.id: (b.dx_mm, b.dy_mm) for b in error.balls} == {
        "cue": (-1.0, 2.0), "3": (6.0, 0.0), "7": (0.0, 0.0),
    }  # fmt: skip
    assert all(ball.cov_mm2 == COV_MM2 for ball in error.balls)
    assert error.worst.id == "3"
    assert set_up_words(error).startswith("set up 6.0 mm off (ball 3, read to 1.1 mm)")
    assert "not counted as your error" in set_up_words(error)
    assert SetUpError.from_dict(error.to_dict()) == error


@pytest.mark.parametrize(
    "before",
    [
        laid({"cue": (500, 600), "3": (2000, 900)}),
        laid(WANTED | {"9": (100, 100)}),
        laid(WANTED | {"7": (1500, 361)}),
    ],
    ids=["a ball short", "a ball more", "farther than a hand puts it"],
)
def test_another_layout_is_no_set_up_of_this_one(before):
    assert set_up_error(laid(WANTED), before) is None


def test_two_set_ups_of_one_layout_are_compared_without_it():
    first, second = (
        set_up_error(laid(WANTED), moved(laid(WANTED), {"3": by})) for by in ((6, 0), (0, 8))
    )
    apart = first.apart_mm(second)
    assert apart["3"][0] == pytest.approx(10)
    assert apart["cue"][0] == 0
    # variances add: the error is larger by the root of two
    assert apart["3"][1] == pytest.approx(first.balls[1].error_mm * math.sqrt(2))


def test_what_a_set_up_does_to_the_cut_is_known():
    intent = Intent(pot="3", pocket="foot-left", next="7")
    before = moved(laid(WANTED), {"3": (0.0, 6.0)})
    wanted_deg, there_deg = cuts_deg(laid(WANTED), before, intent, Table())
    assert there_deg != pytest.approx(wanted_deg, abs=0.1)
    assert cuts_deg(laid(WANTED), laid(WANTED), intent, Table())[0] == pytest.approx(wanted_deg)
    assert cuts_deg(laid(WANTED), before, Intent(next="7"), Table()) is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"balls": 3}, r"set_up\.balls: got 3; allowed: a list"),
        ({"balls": [{"id": "16", "dx_mm": 0, "dy_mm": 0}]}, r"set_up\.balls\[0\]\.id: got '16'"),
        ({"layout_id": "x"}, r"set_up\.layout_id: got 'x'"),
    ],
)
def test_a_wrong_set_up_is_refused_by_its_field(change, said):
    error = set_up_error(laid(WANTED), laid(WANTED))
    with pytest.raises(GuideError, match=said):
        SetUpError.from_dict(error.to_dict() | change)


# -- the drawing -----------------------------------------------------------------------------


def test_the_drawing_shows_every_move_and_says_it():
    now = laid({"cue": (520, 600), "3": (2001, 900), "9": (300, 300)})
    found = guided(laid(WANTED), now)
    svg = guide_svg(Table(), found, state_words(found))
    assert svg.count('class="move"') == 1
    assert svg.count('class="right"') == 1
    assert svg.count('class="off"') == 1
    assert all(f">{words}<" in svg for words in ("cue · 20 mm", "put 7", "9 off"))
    assert "20 mm" in svg
    assert "place of the ball 7" in svg
    assert state_words(found) in svg
    # no arrow strikes words through
    last_arrow = svg.rindex('class="move"')
    assert svg.index(">cue · 20 mm<") > last_arrow < svg.index(">9 off<")


def test_words_hide_neither_a_ball_nor_a_place_nor_each_other():
    """Ball 2's place lies where the cue ball's words would stand toward the table's middle."""
    wanted = {"cue": (1700, 700), "2": (1480, 690), "3": (1450, 960), "5": (640, 640)}
    now = laid({"cue": (1830, 520), "5": (640, 640)})
    svg = guide_svg(Table(), guided(laid(wanted), now), "")
    number = r'="([-\d.]+)" '
    box = re.compile(
        f"<rect x{number}y{number}width{number}height{number}" + r'rx="[\d.]+" [^>]*opacity="0.88"'
    )
    plates = [tuple(map(float, each)) for each in box.findall(svg)]
    assert len(plates) == 3
    width_mm = Table().width_mm
    rings = [(x, width_mm - y) for x, y in [*wanted.values(), (1830, 520)]]
    for k, (x, y, wide, high) in enumerate(plates):
        for ring_x, ring_y in rings:
            off = (max(x - ring_x, ring_x - x - wide, 0), max(y - ring_y, ring_y - y - high, 0))
            assert math.hypot(*off) > BALL_RADIUS_MM
        for other in plates[:k]:
            apart = (
                x > other[0] + other[2] or other[0] > x + wide
                or y > other[1] + other[3] or other[1] > y + high
            )  # fmt: skip
            assert apart
