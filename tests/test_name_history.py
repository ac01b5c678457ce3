"""Waiting makes no name surer; what a person said of a ball holds while it lies there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_stills import DrawnBall
from odd_set import CALIBRATION, TABLE, scattered, still_of

from vision.layout import BALL_IDS, Ball, Layout
from vision.name.corrected import Correction, corrected
from vision.name.identify import Name, name_balls
from vision.read import Reader, read_still

STAYS = 0.01
"""Of a confidence: names rarer than one in a thousand are kept only as a sum."""
ROUNDS = 5
PLACES = np.array([(100.0, 100.0), (400.0, 100.0), (700.0, 100.0)])


def looks(*balls: dict[str, float]) -> np.ndarray:
    """Log probabilities as the network gives them, before the temperature."""
    out = np.full((len(balls), 16), 1e-9)
    for k, said in enumerate(balls):
        for name, chance in said.items():
            out[k, BALL_IDS.index(name)] = chance
    return np.log(out / out.sum(axis=1, keepdims=True))


def layout_of(names: tuple[Name, ...]) -> Layout:
    return Layout(
        still="",
        surface_mm=TABLE.surface_mm,
        balls=tuple(
            Ball(
                id=name.id, x_mm=float(x), y_mm=float(y), confidence=name.confidence,
                doubtful=name.doubtful, runners_up=name.runners_up, look=name.look, said=name.said,
            )
            for name, (x, y) in zip(names, PLACES, strict=False)
        ),
    )  # fmt: skip


def named(previous: Layout | None, *balls: dict[str, float]) -> Layout:
    return layout_of(name_balls(looks(*balls), PLACES[: len(balls)], previous=previous))


@pytest.mark.parametrize("seed", [20, 21])
def test_the_same_still_again_and_again_makes_no_name_surer(seed: int) -> None:
    """A set in paints of its own, untaught: some names are in doubt."""
    data, reader = still_of(scattered(seed)), Reader(CALIBRATION)
    first = reader.read_still(data)
    assert sum(ball.doubtful for ball in first.balls) >= 2
    layout = first
    for _ in range(ROUNDS):
        # as the service keeps it
        layout = reader.read_still(data, previous=Layout.from_dict(layout.to_dict()))
        for ball, before in zip(layout.balls, first.balls, strict=True):
            assert (ball.id, ball.doubtful) == (before.id, before.doubtful)
            assert ball.confidence == pytest.approx(before.confidence, abs=STAYS)


def test_names_told_apart_jointly_are_not_told_apart_again() -> None:
    """That 3 is taken by one ball speaks once against 3 for the other, not once a still."""
    pair = ({"3": 0.5, "5": 0.5}, {"3": 0.9, "5": 0.1})
    first = layout = named(None, *pair)
    for _ in range(ROUNDS):
        layout = named(layout, *pair)
        for ball, before in zip(layout.balls, first.balls, strict=True):
            assert ball.confidence == pytest.approx(before.confidence, abs=STAYS)


def test_no_mixture_of_looks_is_surer_than_the_surest() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        shares = rng.uniform(0.3, 0.9, ROUNDS)
        alone = [named(None, {"1": p, "5": 1 - p}).balls[0] for p in shares]
        most = {
            name: max(ball.confidence if ball.id == name else 1 - ball.confidence for ball in alone)
            for name in ("1", "5")
        }
        layout = None
        for p in shares:
            layout = named(layout, {"1": p, "5": 1 - p})
            (ball,) = layout.balls
            assert ball.confidence <= most[ball.id] + STAYS


def test_a_good_look_before_carries_a_name_over_a_poor_one() -> None:
    clear = named(None, {"5": 1.0})
    poor = {"5": 0.45, "1": 0.55}
    assert named(None, poor).balls[0].id == "1"
    carried = named(clear, poor).balls[0]
    assert (carried.id, carried.doubtful) == ("5", False)
    assert carried.confidence < clear.balls[0].confidence


def test_another_ball_on_the_same_mark_is_named_by_its_own_look() -> None:
    before = named(None, {"5": 1.0}, {"1": 1.0})
    told = corrected(before, [Correction(id="5", x_mm=100.0, y_mm=100.0)])
    for earlier in (before, told):
        swapped = named(earlier, {"1": 1.0}, {"5": 1.0})
        assert [ball.id for ball in swapped.balls] == ["1", "5"]
        assert not any(ball.doubtful or ball.said for ball in swapped.balls)


def test_what_a_person_said_carries_over_and_goes_when_the_ball_is_moved() -> None:
    balls = scattered(21)
    data, reader = still_of(balls), Reader(CALIBRATION)
    first = reader.read_still(data)
    true = {(ball.x_mm, ball.y_mm): ball.id for ball in balls}
    told = [Correction(id=name, x_mm=x, y_mm=y) for (x, y), name in true.items()]
    assert sum(ball.id != _true(balls, ball) for ball in first.balls) >= 8
    layout = corrected(first, told)
    for _ in range(ROUNDS):
        layout = reader.read_still(data, previous=Layout.from_dict(layout.to_dict()))
        for ball in layout.balls:
            assert ball.id == _true(balls, ball)
            assert (ball.confidence, ball.doubtful, ball.said) == (1.0, False, True)
        assert not any("look like" in warning for warning in layout.warnings)
    moved = [replace(balls[0], x_mm=balls[0].x_mm + 40.0), *balls[1:]]
    later = reader.read_still(still_of(moved), previous=layout)
    assert sum(not ball.said for ball in later.balls) == 1


def test_whoever_cannot_tell_says_no_name() -> None:
    layout = corrected(
        named(None, {"5": 1.0}, {"1": 1.0}), [Correction(id="1", x_mm=100.0, y_mm=100.0)]
    )
    assert [ball.said for ball in sorted(layout.balls, key=lambda b: b.x_mm)] == [True, False]
    unsure = corrected(layout, [Correction(id=None, x_mm=100.0, y_mm=100.0)])
    assert not any(ball.said for ball in unsure.balls)


def test_reading_a_still_by_the_function_depends_on_no_still_before() -> None:
    """The finder of a kept reader searches what changed alone, so its places differ a little."""
    balls = scattered(20)
    before = still_of(balls)
    data = still_of([replace(balls[0], x_mm=balls[0].x_mm + 21.0), *balls[1:]])
    fresh = Reader(CALIBRATION).read_still(data)
    sequence = Reader(CALIBRATION)
    sequence.read_still(before)
    assert sequence.read_still(data) != fresh
    read_still(before, CALIBRATION)
    assert read_still(data, CALIBRATION) == fresh


def _true(balls: list[DrawnBall], ball: Ball) -> str:
    return min(balls, key=lambda b: np.hypot(b.x_mm - ball.x_mm, b.y_mm - ball.y_mm)).id
