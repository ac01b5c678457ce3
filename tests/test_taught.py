"""Ball sets taught from a still: names after that, the file, and refusals."""

import json
from dataclasses import replace

import numpy as np
import pytest
from drawn_stills import DrawnBall
from odd_set import (
    CALIBRATION,
    MOST_DOUBTED,
    layout_of,
    scattered,
    still_of,
    truth_of,
)

from vision.known.teaching import teach_still
from vision.layout import BALL_IDS
from vision.name.identify import Hint, alike, name_balls
from vision.name.taught import (
    LOOKS_KEPT,
    MOST_AGAINST,
    MOST_FOR,
    SPREADS,
    Look,
    Taught,
    TaughtError,
)
from vision.networks import crops_fingerprint
from vision.place.centres import Placed
from vision.read import read_still
from vision.truth.measure import match_layout, summary

SIZE = 12
"""Length of made-up embeddings."""


@pytest.fixture(scope="module")
def taught_odd() -> Taught:
    balls = scattered(20)
    return teach_still(still_of(balls), CALIBRATION, layout_of(balls), name="set.jpg")


def figures(seed: int, taught: Taught | None, *, odd: bool = True):
    balls = scattered(seed, odd=odd)
    layout = read_still(still_of(balls), CALIBRATION, taught=taught)
    return summary([match_layout(layout, truth_of(balls))]), layout


def placed(embeddings: list[list[float]], likely: list[str], chance: float = 0.9) -> Placed:
    """Balls with those embeddings, which the network gives those names that surely."""
    count = len(embeddings)
    names = np.full((count, len(BALL_IDS)), (1 - chance) / (len(BALL_IDS) - 1))
    for k, name in enumerate(likely):
        names[k, BALL_IDS.index(name)] = chance
    centres = np.arange(2.0 * count).reshape(count, 2) * 100
    return Placed(
        aim_mm=centres,
        centre_mm=centres,
        cov_mm2=np.tile(np.eye(2), (count, 1, 1)),
        ball=np.ones(count),
        names=np.log(names),
        embedding=np.array(embeddings, float),
    )


def far_apart(count: int) -> list[list[float]]:
    """Embeddings as far from each other as those of different balls."""
    return [[50.0 * (i == k) for i in range(SIZE)] for k in range(count)]


# -- what it is for ------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [21, 22, 24])
def test_set_in_paints_of_its_own_is_named_right_after_one_still(
    taught_odd: Taught, seed: int
) -> None:
    before, _ = figures(seed, None)
    assert before.wrong_names >= 10, "the set must be one that the network does not know"
    after, layout = figures(seed, taught_odd)
    assert (after.missed, after.invented, after.wrong_names) == (0, 0, 0)
    assert after.doubtful == 0
    assert not any("look like" in warning for warning in layout.warnings)


def test_usual_set_stays_named_right_without_doubt() -> None:
    balls = scattered(20, odd=False)
    taught = teach_still(still_of(balls), CALIBRATION, layout_of(balls))
    assert taught.mistrust < 0.01
    after, _ = figures(21, taught, odd=False)
    assert (after.wrong_names, after.doubtful) == (0, 0)


def test_balls_not_taught_of_a_strange_set_are_right_or_in_doubt() -> None:
    """What the network gets wrong in the taught still makes it doubt itself in later ones."""
    balls = scattered(20)
    half = replace(layout_of(balls), balls=layout_of(balls).balls[::2])
    taught = teach_still(still_of(balls), CALIBRATION, half)
    assert taught.mistrust > 0.3
    before, _ = figures(22, None)
    after, _ = figures(22, taught)
    assert after.wrong_names < before.wrong_names
    assert after.wrong_names_undoubted <= 1 < before.wrong_names_undoubted
    assert after.doubtful >= MOST_DOUBTED


def test_more_stills_of_a_set_add_what_was_not_there(taught_odd: Taught) -> None:
    few = [ball for ball in scattered(20) if ball.id in ("cue", "1", "2")]
    taught = teach_still(still_of(few), CALIBRATION, layout_of(few))
    assert taught.ids == ("cue", "1", "2")
    balls = scattered(23)
    more = teach_still(still_of(balls), CALIBRATION, layout_of(balls), taught=taught)
    assert more.ids == taught_odd.ids == BALL_IDS
    after, _ = figures(21, more)
    assert after.wrong_names == 0


# -- the rule ------------------------------------------------------------------------------


def test_look_speaks_for_its_name_and_against_others() -> None:
    taught = Taught.from_reading(placed(far_apart(2), ["3", "4"]), ["3", "4"])
    hint = taught.hint(np.array(far_apart(2)))
    three, four, five = (BALL_IDS.index(name) for name in "345")
    alike_sq, slope = SPREADS["solid"]
    expected = min((1 + taught.mistrust) * slope * alike_sq, MOST_FOR)
    assert hint.log_likelihood[0, three] == pytest.approx(expected)
    assert hint.log_likelihood[0, four] == -MOST_AGAINST
    assert hint.log_likelihood[0, five] == 0


def test_looks_overrule_a_network_that_is_wrong_about_the_set() -> None:
    crops = placed(far_apart(2), ["4", "3"], chance=0.999)
    taught = Taught.from_reading(crops, ["3", "4"])
    assert [name.id for name in name_balls(crops.names, crops.centre_mm)] == ["4", "3"]
    named = name_balls(crops.names, crops.centre_mm, hint=taught.hint(crops.embedding))
    assert [(name.id, name.doubtful) for name in named] == [("3", False), ("4", False)]


def test_one_look_helps_where_the_network_wavers_and_is_no_more_than_help() -> None:
    taught = Taught.from_reading(placed(far_apart(1), ["3"], chance=0.9999), ["3"])
    wavering = placed(far_apart(1), ["5"], chance=0.5)
    named = name_balls(wavering.names, wavering.centre_mm, hint=taught.hint(wavering.embedding))
    assert named[0].id == "3"
    # a ball as unlike the look as another ball is: the network's word stands
    strange = placed([[0.0] * (SIZE - 1) + [50.0]], ["5"], chance=0.9999)
    hint = taught.hint(strange.embedding)
    named = name_balls(strange.names, strange.centre_mm, hint=hint)
    assert (named[0].id, named[0].doubtful) == ("5", False)


def test_mistrust_grows_with_what_the_network_got_wrong() -> None:
    shares = []
    for wrong in range(5):
        likely = [*(str(n + 9) for n in range(wrong)), *(str(n + 1) for n in range(wrong, 8))]
        crops = placed(far_apart(8), likely, chance=0.9999)
        shares.append(Taught.from_reading(crops, [str(n + 1) for n in range(8)]).mistrust)
    assert shares == sorted(shares)
    assert shares[0] < 0.01
    assert 0.2 < shares[4] < 0.5


def test_balls_that_the_network_takes_for_one_are_no_longer_called_alike() -> None:
    crops = placed(far_apart(2), ["3", "3"], chance=0.95)
    assert len(alike(crops.names, crops.centre_mm)) == 1
    hint = Taught.from_reading(crops, ["3", "11"]).hint(crops.embedding)
    assert alike(crops.names, crops.centre_mm, hint=hint) == []


def test_a_hint_that_says_nothing_changes_no_name() -> None:
    crops = placed(far_apart(3), ["3", "4", "cue"], chance=0.97)
    nothing = Hint(log_likelihood=np.zeros((3, 16)), mistrust=0.0)
    plain = name_balls(crops.names, crops.centre_mm)
    assert name_balls(crops.names, crops.centre_mm, hint=nothing) == plain


def test_only_the_newest_looks_of_a_name_are_kept() -> None:
    taught = Taught.from_reading(placed([[0.0] * SIZE], ["3"]), ["3"])
    for k in range(1, LOOKS_KEPT + 3):
        taught = taught.with_still(placed([[float(k)] * SIZE], ["3"]), ["3"])
    assert len(taught.looks) == LOOKS_KEPT
    assert taught.looks[-1].embedding[0] == LOOKS_KEPT + 2
    assert taught.looks[0].embedding[0] == 3


# -- file and refusals ---------------------------------------------------------------------


def test_set_survives_its_file(taught_odd: Taught, tmp_path) -> None:
    assert Taught.from_dict(taught_odd.to_dict()) == taught_odd
    taught_odd.write(tmp_path / "set.json")
    assert Taught.read(tmp_path / "set.json") == taught_odd
    assert (tmp_path / "set.json").stat().st_size < 20_000


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"format": "else"}, r"^set\.format: got 'else'; allowed: 'restmark-set'.*`restmark t"),
        ({"version": 2}, r"^set\.version: got 2; allowed: 1\."),
        ({"network": "other"}, r"^set\.network: got 'other'; allowed: '\w{16}', that of this rel"),
        ({"looks": []}, r"^set\.looks: got 0 of 0 lengths; allowed: one or more"),
        ({"looks": [3]}, r"^set\.looks\[0\]: got 3; allowed: an object"),
        (
            {"looks": [{"id": "16", "chance": 0.5, "embedding": "1"}]},
            r"^set\.looks\[0\]\.id: got '16'; allowed: cue, 1 … 15",
        ),
        (
            {"looks": [{"id": "3", "chance": 1.5, "embedding": "1"}]},
            r"^set\.looks\[0\]\.chance: got 1\.5; allowed: a number from 0 to 1",
        ),
        (
            {"looks": [{"id": "3", "chance": 0.5, "embedding": "1 nan"}]},
            r"^set\.looks\[0\]\.embedding: got '1 nan'; allowed: finite numbers",
        ),
        (
            {"looks": [
                {"id": "3", "chance": 0.5, "embedding": "1 2"},
                {"id": "4", "chance": 0.5, "embedding": "1"},
            ]},
            r"^set\.looks: got 2 of 2 lengths; allowed: .*all of one length",
        ),
    ],
)  # fmt: skip
def test_wrong_set_files_are_refused_by_field(change: dict, said: str) -> None:
    good = Taught(
        network=crops_fingerprint(), looks=(Look(id="3", chance=0.5, embedding=(1.0,)),)
    ).to_dict()
    with pytest.raises(ValueError, match=said):
        Taught.from_dict(json.loads(json.dumps(good | change)))


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["3"], "names: got 1 for 2 balls; allowed: one a ball"),
        ([None, None], "names: got none; allowed: one or more, each once"),
        (["3", "3"], "names: got 3 more than once; allowed: one or more, each once"),
        (["3", "white"], "id: got 'white'; allowed: cue, 1 … 15"),
    ],
)
def test_names_that_teach_nothing_are_refused(names: list[str | None], said: str) -> None:
    with pytest.raises(TaughtError, match=said):
        Taught.from_reading(placed(far_apart(2), ["3", "4"]), names)


def test_layout_of_another_still_teaches_nothing() -> None:
    balls = [DrawnBall(id="3", x_mm=900.0, y_mm=500.0)]
    elsewhere = [DrawnBall(id="3", x_mm=1700.0, y_mm=800.0)]
    said = r"^s\.jpg: ball 3 is not seen at x 1700, y 800 mm; allowed: the layout of this very"
    with pytest.raises(TaughtError, match=said):
        teach_still(still_of(balls), CALIBRATION, layout_of(elsewhere), name="s.jpg")
    in_doubt = replace(layout_of(balls), balls=(replace(layout_of(balls).balls[0], doubtful=True),))
    with pytest.raises(TaughtError, match=r"got 1 balls, none with a sure name; allowed: one or"):
        teach_still(still_of(balls), CALIBRATION, in_doubt)
