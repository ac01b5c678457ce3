"""Whatever two layouts hold, what happened between them has a name that fits itself."""

from __future__ import annotations

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.table import Table
from service.position import DrawnZone, Intent
from service.practice.between.compare import compare
from service.practice.between.decide import what_happened
from service.practice.between.outcome import EVENTS
from service.practice.between.repeats import Earlier
from service.practice.between.seen import Seen
from vision.layout import BALL_IDS, Ball, Layout

NINE = Table()
PLACES = st.tuples(st.floats(27.5, 2512.5), st.floats(27.5, 1242.5))
SIGMAS = st.sampled_from([0.0, 0.2, 1.0, 4.0])


@st.composite
def balls(draw, name: str) -> Ball:
    x, y = draw(PLACES)
    sigma = draw(SIGMAS)
    doubtful = draw(st.booleans())
    other = draw(st.sampled_from(BALL_IDS))
    return Ball(
        id=name,
        x_mm=x,
        y_mm=y,
        cov_mm2=((sigma**2, 0.0), (0.0, sigma**2)),
        doubtful=doubtful,
        confidence=0.6 if doubtful else 1.0,
        runners_up=((other, 0.3),) if doubtful and other != name else (),
    )


@st.composite
def layouts(draw, like: Layout | None = None) -> Layout:
    """Any layout; with ``like`` some of its balls stay, are renamed or pushed a little."""
    names = draw(st.sets(st.sampled_from(BALL_IDS), max_size=6))
    there = {name: draw(balls(name)) for name in sorted(names)}
    for ball in like.balls if like is not None else ():
        if ball.id not in there and draw(st.booleans()):
            there[ball.id] = ball
    order = draw(st.permutations(list(there.values())))
    return Layout(still="", surface_mm=NINE.surface_mm, balls=tuple(order))


@st.composite
def pairs(draw) -> tuple[Layout, Layout]:
    before = draw(layouts())
    return before, draw(layouts(like=before))


INTENTS = st.sampled_from(
    [
        None,
        Intent(pot="1", pocket="foot-left", next="2"),
        Intent(zone=DrawnZone(circle_mm=(1270.0, 635.0, 100.0))),
    ]
)
FACTS = st.builds(
    Seen,
    rolled=st.sampled_from([None, True, False]),
    hand_over_bed=st.sampled_from([None, True, False]),
)


@settings(max_examples=200, deadline=None)
@given(pairs(), layouts(), st.booleans(), INTENTS, FACTS)
def test_an_outcome_fits_itself(both, other, fresh, intent, seen) -> None:
    before, after = both
    out = what_happened(
        before, after, NINE, earlier=[Earlier(layout=other, laid=True)], fresh=fresh,
        intent=intent, seen=seen,
    )  # fmt: skip
    assert out.event in EVENTS
    json.dumps(out.to_dict() | out.shot_dict(), allow_nan=False)
    was = {ball.id for ball in out.change.before.balls}
    now = {ball.id for ball in out.change.after.balls}
    # a layout set up again has its balls' names from the layout that it repeats
    laid = {ball.id for ball in other.balls} if out.event == "set_up" else set()
    assert set(out.balls) <= was | now | laid
    if out.event == "shot":
        assert {p.ball for p in out.potted} == was - now - {"cue"}
        assert now <= was, "no shot brings balls"
        assert set(out.nudged) <= was & now - {"cue"}
        assert out.scratch == ("cue" not in now)
        assert not seen.by_hand
    else:
        assert out.potted == ()
        assert not out.scratch
    if out.event == "nothing":
        assert was == now
        assert out.balls == ()
    if out.event in ("placed", "corrected", "set_up"):
        assert not (was - now - {"cue"}), "what is gone is shot or unexplained"
    if out.event == "spotted":
        assert now - was - {"cue"}


@settings(max_examples=100, deadline=None)
@given(pairs())
def test_names_stay_one_a_ball_and_places_stay_as_read(both) -> None:
    before, after = both
    change = compare(before, after)
    for named, read in ((change.before, before), (change.after, after)):
        assert [ball.centre_mm for ball in named.balls] == [ball.centre_mm for ball in read.balls]
    kept = {ball.name for ball in change.kept}
    assert kept | set(change.gone) == {ball.id for ball in change.before.balls}
    assert kept | set(change.come) == {ball.id for ball in change.after.balls}


@settings(max_examples=50, deadline=None)
@given(layouts(), st.randoms())
def test_the_same_layout_in_any_order_is_nothing(layout, random) -> None:
    order = list(layout.balls)
    random.shuffle(order)
    again = Layout(still="again", surface_mm=layout.surface_mm, balls=tuple(order))
    # balls that overlap are no layout of a table: which is which cannot be told
    if all(
        abs(a.x_mm - b.x_mm) + abs(a.y_mm - b.y_mm) > 60 for a in order for b in order if a is not b
    ):
        assert what_happened(layout, again, NINE).event == "nothing"
