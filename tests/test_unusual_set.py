"""A ball set of its own colours is noticed from its stills, and no longer once it was taught."""

from dataclasses import replace

import pytest
from odd_set import CALIBRATION, layout_of, scattered, still_of

from calibration.notices import Notice
from vision.known.teaching import teach_still
from vision.layout import Ball, Layout
from vision.name.corrected import Correction, corrected
from vision.name.unusual import CODE, FEWEST, LIMIT, cost_of, unlike, unusual
from vision.read import read_still


def read(*chances: float, **more) -> Layout:
    """A layout whose balls' looks give their names those chances."""
    balls = tuple(
        Ball(id=str(k), x_mm=150.0 * k, y_mm=300.0, look=((str(k), chance), ("cue", 1 - chance)))
        for k, chance in enumerate(chances, 1)
    )
    return Layout(still="a", surface_mm=(2540.0, 1270.0), balls=balls, **more)


def moved(layout: Layout, by_mm: float) -> Layout:
    """The same balls elsewhere."""
    balls = tuple(replace(ball, y_mm=ball.y_mm + by_mm) for ball in layout.balls)
    return replace(layout, balls=balls)


SURE = [0.99] * 6


def test_an_odd_set_is_noticed_and_known_after_teaching() -> None:
    balls = scattered(100)
    layout = read_still(still_of(balls), CALIBRATION)
    assert len(layout.unlike) >= FEWEST
    (notice,) = [each for each in layout.notices if each.code == CODE]
    assert notice.text.endswith("look like none of the standard colours left for them: teach this "
                                "set from one still.")  # fmt: skip
    assert len(notice.places_mm) == len(layout.unlike) == len(notice.fields["ids"])
    assert Layout.from_dict(layout.to_dict()) == layout
    taught = teach_still(still_of(balls), CALIBRATION, layout_of(balls))
    again = read_still(still_of(scattered(101)), CALIBRATION, taught=taught)
    assert again.unlike == ()


def test_a_usual_set_is_not() -> None:
    layout = read_still(still_of(scattered(100, odd=False)), CALIBRATION)
    assert layout.unlike == ()
    assert cost_of(layout) < LIMIT / 4


def test_one_strange_ball_is_an_accident_and_two_that_cost_enough_are_not() -> None:
    assert unusual([read(*SURE, 0.0001)]) is None
    assert unusual([read(*SURE, 0.3, 0.3)]) is None
    found = unusual([read(*SURE, 0.1, 0.1)])
    assert found is not None
    assert found.unlike == ("7", "8")
    assert found.words.startswith("Two balls look like none of the standard colours")


def test_several_stills_show_together_what_one_does_not() -> None:
    little = read(*SURE, 0.3, 0.3)
    assert unusual([little] * 4) is None, "balls that lie still show one look"
    assert unusual([moved(little, 60.0 * k) for k in range(4)]) is not None
    usual = [moved(read(*SURE), 60.0 * k) for k in range(4)]
    assert unusual([read(*SURE, 0.01, 0.01), *usual]) is None, "only the newest count"


def test_what_cannot_be_judged_says_nothing() -> None:
    strange = read(*SURE, 0.01, 0.01)
    grey = Notice(code="no-colour", text="The still has no colour.", fields={"spread": 0.0})
    for layout in (
        replace(strange, obstructed=True), replace(strange, notices=(grey,)),
        replace(strange, balls=tuple(replace(ball, look=()) for ball in strange.balls)),
        replace(strange, balls=tuple(replace(ball, said=True) for ball in strange.balls)),
    ):  # fmt: skip
        assert unusual([layout]) is None
    assert unusual([]) is None


def test_a_correction_takes_the_word_back_until_the_next_still() -> None:
    strange = read(*SURE, 0.01, 0.01)
    told = Notice(code=CODE, text="Two balls look like none.")
    layout = replace(strange, unlike=unlike(strange), notices=(told,))
    after = corrected(layout, [Correction(id="9", x_mm=150.0, y_mm=300.0)])
    assert (after.unlike, after.notices) == ((), ())


def test_names_of_no_ball_are_refused() -> None:
    with pytest.raises(ValueError, match=r"layout\.unlike: got \['9'\]; allowed: names of the lay"):
        read(*SURE, unlike=("9",))
