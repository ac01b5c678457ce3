"""Ways to practise: attempts so far in, the next turn out."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from position_layouts import layout

from calibration.table import Table
from service.position import DrawnZone, Intent, IntentError, Player, score_shot
from service.practice import Plan
from service.practice.notes import NoteError
from service.practice.ways.choose import MODES, way_of
from service.practice.ways.pressure import Pressure
from service.practice.ways.progressive import Progressive
from service.practice.ways.rotation import Rotation, best_pocket
from service.practice.ways.same_again import SameAgain
from service.practice.ways.tried import Tried

NINE = Table()
FIRST = Intent(pot="1", pocket="foot-left", next="2", next_pocket="foot-right")
SECOND = Intent(pot="2", pocket="foot-right", next="3")
PLACE = Intent(zone=DrawnZone(circle_mm=(1270.0, 635.0, 200.0)))
ENDS = st.builds(
    Tried,
    intent=st.sampled_from([FIRST, SECOND]),
    pot=st.sampled_from([True, False, None]),
    position=st.sampled_from([True, False, None]),
)
HISTORY = st.lists(ENDS, max_size=40)


def made(intent: Intent = FIRST) -> Tried:
    return Tried(intent=intent, pot=True, position=True)


def failed(intent: Intent = FIRST) -> Tried:
    return Tried(intent=intent, pot=False, position=True)


# -- success -------------------------------------------------------------------------------------


def test_success_asks_only_what_was_asked() -> None:
    assert made().success() is True
    assert failed().success() is False
    assert failed().success("position") is True
    assert Tried(intent=PLACE, pot=None, position=True).success() is True
    assert Tried(intent=FIRST, pot=True, position=None).success() is None
    assert Tried(intent=FIRST, pot=False, position=None).success() is False


def test_an_attempt_counts_as_its_verdict_says() -> None:
    before = layout(NINE, {"cue": (700, 500), "1": (2000, 900), "2": (1500, 250)})
    scratch = layout(NINE, {"2": (1500, 250)})
    stop = layout(NINE, {"cue": (1300, 620), "2": (1500, 250)})
    circle = Intent(pot="1", pocket="foot-left", zone=PLACE.zone)
    assert Tried.of(score_shot(before, stop, circle, NINE)).success() is True
    assert Tried.of(score_shot(before, scratch, circle, NINE)).success("pot") is False
    assert Tried.of(score_shot(before, scratch, circle, NINE)).success("position") is False
    assert Tried.of(score_shot(before, stop, None, NINE)).success("pot") is None


# -- each way --------------------------------------------------------------------------------------


@given(HISTORY, st.lists(st.sampled_from([FIRST, SECOND, None]), max_size=5))
def test_in_order_takes_each_once_whatever_came_of_it(tried, shots) -> None:
    turn = way_of("in order", tuple(shots)).next(tried)
    if len(tried) < len(shots):
        assert turn is not None
        assert turn.intent == shots[len(tried)]
    else:
        assert turn is None


@given(HISTORY, st.integers(1, 6))
def test_same_again_plays_each_as_often_as_asked(tried, each) -> None:
    way = SameAgain(shots=(FIRST, SECOND), each=each)
    turn = way.next(tried)
    if len(tried) >= 2 * each:
        assert turn is None
        return
    assert turn is not None
    assert turn.intent == (FIRST if len(tried) < each else SECOND)
    assert turn.same_layout == (len(tried) % each > 0)


def test_same_again_is_what_follows_where_nothing_was_planned() -> None:
    turn = SameAgain().next([made(SECOND)])
    assert turn is not None
    assert (turn.intent, turn.same_layout) == (SECOND, True)
    assert SameAgain().next([]) is None


@given(HISTORY, st.sampled_from(["pot", "position", "both"]))
def test_progressive_stays_within_its_limits_and_moves_by_its_step(tried, counts) -> None:
    way = Progressive(
        shots=(FIRST,), start_mm=500, step_mm=100, least_mm=300, most_mm=900, counts=counts
    )
    at = way.distances_mm(tried)
    assert len(at) == len(tried) + 1
    assert all(300 <= mm <= 900 for mm in at)
    for (here, there), attempt in zip(pairwise(at), tried, strict=True):
        success = attempt.success(counts)
        if success is None:
            assert there == here
        elif success:
            assert there == min(here + 100, 900)
        else:
            assert there == max(here - 100, 300)
    report = way.report(tried)
    assert report["reached_mm"] == at[-1] == way.next(tried).distance_mm
    best = report["farthest_success_mm"]
    assert best is None or best in at


def test_progressive_moves_the_wanted_leave_where_asked() -> None:
    way = Progressive(shots=(FIRST,), what="leave", start_mm=600, step_mm=200, window_mm=300)
    assert way.next([]).intent.distance_mm == (450.0, 750.0)
    assert way.next([made()]).intent.distance_mm == (650.0, 950.0)
    assert way.next([made(), failed()]).intent.distance_mm == (450.0, 750.0)
    assert Progressive(shots=(FIRST,)).next([made()]).intent == FIRST, "the ball is laid farther"


@given(HISTORY, st.integers(2, 6))
def test_pressure_starts_again_after_every_failure(tried, in_a_row) -> None:
    way = Pressure(shots=(FIRST, SECOND), in_a_row=in_a_row)
    run = way.run(tried)
    assert 0 <= run < in_a_row
    assert way.next(tried).intent == (FIRST, SECOND)[run % 2]
    after = [*tried, failed()]
    assert way.next(after).intent == FIRST
    assert way.next(after).first_layout
    # a whole set more is a completion more, from the first layout again
    whole = [*after, *[made()] * in_a_row]
    assert way.report(whole)["completions"] == way.report(after)["completions"] + 1
    assert way.next(whole).first_layout
    assert way.report(whole)["longest_run"] >= in_a_row


LOW = layout(NINE, {"cue": (1200, 600), "2": (2300, 1100), "5": (400, 300), "9": (1270, 1100)})


def test_rotation_names_ball_and_pocket_by_rule() -> None:
    turn = Rotation().next([], LOW, NINE)
    assert turn is not None
    assert (turn.intent.pot, turn.intent.next, turn.intent.pocket) == ("2", "5", "foot-left")
    limits = Intent(pot="lowest", next="lowest", cushion_mm=80.0)
    ruled = Rotation(rule=limits).next([made()], LOW, NINE)
    assert ruled.intent.cushion_mm == 80.0
    assert best_pocket(LOW, "2", NINE, Player()) == "foot-left"


@settings(max_examples=40, deadline=None)
@given(st.sets(st.integers(1, 15), max_size=6), st.booleans())
def test_rotation_asks_for_two_balls_and_a_cue_ball(numbers, has_cue) -> None:
    places = {str(n): (200.0 + 140 * n, 400.0 + 30 * n) for n in numbers}
    there = layout(NINE, places | ({"cue": (150.0, 200.0)} if has_cue else {}))
    turn = Rotation().next([], there, NINE)
    if len(numbers) < 2 or not has_cue:
        assert turn is None
    else:
        low, following = sorted(numbers)[:2]
        assert (turn.intent.pot, turn.intent.next) == (str(low), str(following))


# -- plans --------------------------------------------------------------------------------------

SHOT = FIRST.to_dict()


@pytest.mark.parametrize(
    "data",
    [
        {"shots": [SHOT], "mode": "same again", "each": 5},
        {"shots": [], "mode": "rotation"},
        {"shots": [SHOT], "mode": "progressive", "what": "leave", "step_mm": 80.0},
        {"shots": [SHOT, SHOT], "mode": "pressure", "in_a_row": 5, "counts": "pot"},
    ],
    ids=lambda data: data["mode"],
)
def test_plans_of_every_mode_survive_being_written(data) -> None:
    plan = Plan.from_dict(data)
    assert plan.to_dict() == data
    assert Plan.from_dict(plan.to_dict()) == plan
    assert plan.way.next([], LOW, NINE) is not None


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"mode": "harder"}, r"plan\.mode: got 'harder'; allowed: in order"),
        ({"mode": "same again", "step_mm": 5}, r"plan\.step_mm: no setting of mode 'same again'"),
        ({"mode": "same again", "each": 0}, r"plan\.each: got 0"),
        ({"mode": "same again", "each": "2"}, r"plan\.each: got '2'"),
        ({"mode": "progressive", "what": "cue"}, r"plan\.what: got 'cue'; allowed: ball, leave"),
        ({"mode": "progressive", "step_mm": -1}, r"plan\.progressive: got start"),
        ({"mode": "progressive", "step_mm": "far"}, r"plan\.step_mm: got 'far'"),
        ({"mode": "pressure"}, r"plan\.in_a_row: missing"),
        ({"mode": "pressure", "in_a_row": 4, "counts": "luck"}, r"plan\.counts: got 'luck'"),
        ({"mode": "rotation", "shots": [SHOT, SHOT]}, r"plan\.shots: got 2 intents"),
        ({"mode": "progressive", "shots": [SHOT, SHOT]}, r"plan\.shots: got 2 intents"),
        ({"mode": ["in order"]}, r"plan\.mode: got"),
        ({"colour": 1}, r"plan: got .*colour"),
    ],
)
def test_plans_that_cannot_be_say_why(more, words) -> None:
    with pytest.raises(IntentError, match=words):
        Plan.from_dict({"shots": [SHOT]} | more)


def test_a_row_has_at_least_two() -> None:
    with pytest.raises(NoteError, match="in_a_row"):
        Plan.from_dict({"shots": [SHOT], "mode": "pressure", "in_a_row": 1})


def test_every_mode_is_named() -> None:
    assert list(MODES) == ["in order", "same again", "rotation", "progressive", "pressure"]
