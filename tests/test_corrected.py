"""Names put right by hand: which ball is meant, what the others are called, what is refused."""

import pytest

from calibration.notices import Notice
from vision.layout import Ball, Layout
from vision.name.corrected import Correction, CorrectionError, corrected, told

LAYOUT = Layout(
    still="a",
    surface_mm=(2540.0, 1270.0),
    balls=(
        Ball(id="cue", x_mm=500.0, y_mm=400.0),
        Ball(
            id="3", x_mm=900.0, y_mm=600.0, confidence=0.6, doubtful=True, runners_up=(("7", 0.4),)
        ),
        Ball(id="7", x_mm=1500.0, y_mm=800.0, confidence=0.97),
    ),
    notices=(
        Notice(code="name-in-doubt", text="one", fields={"places_mm": [[900.0, 600.0]]}),
        Notice(
            code="names-alike", text="two", fields={"places_mm": [[900.0, 600.0], [1500.0, 800.0]]}
        ),
        # a sentence is not looked into, whatever it says
        Notice(
            code="seen-poorly",
            text="Ball 3 at x 900, y 600 mm is in doubt",
            fields={"places_mm": [[900.0, 600.0]]},
        ),
    ),
)


def names_of(layout: Layout) -> dict[float, str]:
    return {ball.x_mm: ball.id for ball in layout.balls}


def test_confirmed_name_loses_its_doubt_and_its_warnings() -> None:
    after = corrected(LAYOUT, told("905,596=3"))
    assert names_of(after) == names_of(LAYOUT)
    ball = after.ball("3")
    assert ball is not None
    assert (ball.confidence, ball.doubtful, ball.runners_up) == (1.0, False, ())
    assert after.notices == LAYOUT.notices[2:]


def test_ball_that_loses_its_name_gets_the_other_and_is_in_doubt() -> None:
    after = corrected(LAYOUT, told("900,600=7"))
    assert names_of(after) == {500.0: "cue", 900.0: "7", 1500.0: "3"}
    assert [ball.id for ball in after.balls] == ["cue", "3", "7"]
    swapped = after.ball("3")
    assert swapped is not None
    assert swapped.doubtful
    assert swapped.confidence < 0.95


def test_exchange_told_whole_leaves_no_doubt() -> None:
    after = corrected(LAYOUT, told("900,600=7; 1500,800=3"))
    assert names_of(after) == {500.0: "cue", 900.0: "7", 1500.0: "3"}
    assert not any(ball.doubtful for ball in after.balls)


def test_name_that_nobody_has_displaces_nobody() -> None:
    after = corrected(LAYOUT, told("1500,800=12;500,400=3;900,600=cue"))
    assert names_of(after) == {500.0: "3", 900.0: "cue", 1500.0: "12"}


def test_name_left_open_is_in_doubt_and_keeps_what_else_it_may_be() -> None:
    open_names = [Correction(id=None, x_mm=x, y_mm=y) for x, y in ((900, 600), (1500, 800))]
    after = corrected(LAYOUT, open_names)
    assert names_of(after) == names_of(LAYOUT)
    assert [ball.id for ball in after.balls if ball.doubtful] == ["3", "7"]
    left = after.ball("3")
    assert left is not None
    assert (left.confidence, left.runners_up) == (0.5, (("7", 0.4),))
    assert after.notices == LAYOUT.notices
    # its name may still go to a ball that is known
    taken = corrected(LAYOUT, [Correction(id="7", x_mm=900, y_mm=600), open_names[1]])
    assert names_of(taken) == {500.0: "cue", 900.0: "7", 1500.0: "3"}
    assert [ball.id for ball in taken.balls if ball.doubtful] == ["3"]


def test_correction_survives_json() -> None:
    one = Correction(id="3", x_mm=1.5, y_mm=2.0)
    assert Correction.from_dict(one.to_dict()) == one
    assert told(" 1.5 , 2 = 3 ;") == (one,)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", r"names: got none; allowed: x,y=name"),
        ("900,600=7;900=3", r"names\[1\]: got '900=3'; allowed: x,y=name with x and y in mm"),
        ("900,600=16", r"names\[0\]\.id: got '16'; allowed: cue, 1 … 15"),
        ("1000,600=7", r"names\[0\]: got x 1000, y 600 mm, 100 mm from the nearest ball; allowed"),
        ("900,600=7;901,600=3", r"names: got one ball more than once; allowed: every ball"),
        ("900,600=7;1500,800=7", r"names: got one name more than once; allowed: every ball"),
    ],
)
def test_corrections_that_mean_nothing_are_refused(words: str, said: str) -> None:
    with pytest.raises(CorrectionError, match=said):
        corrected(LAYOUT, told(words))


@pytest.mark.parametrize(
    ("item", "said"),
    [
        (3, r"names\[0\]: got 3; allowed: an object with id, x_mm, y_mm"),
        ({"id": "3", "x_mm": 1.0}, r"names\[0\]\.y_mm: missing"),
        ({"id": "3", "x_mm": "1", "y_mm": 2}, r"names\[0\]\.x_mm: got '1'; allowed: a finite"),
        ({"id": 3, "x_mm": 1, "y_mm": 2}, r"names\[0\]\.id: got 3; allowed: text"),
    ],
)
def test_wrong_correction_objects_are_refused_by_field(item: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Correction.from_dict(item, path="names[0]")


def test_empty_layout_has_no_ball_to_correct() -> None:
    empty = Layout(still="e", surface_mm=(2540.0, 1270.0))
    with pytest.raises(CorrectionError, match=r"there is no ball at all; allowed: a ball"):
        corrected(empty, told("900,600=7"))
