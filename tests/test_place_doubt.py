"""A ball that is seen poorly is looked at several times; where looks disagree its error grows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_stills import DrawnBall, draw_still, overhead

from calibration.table import Table
from vision.networks import shipped
from vision.place.centres import (
    BESIDE_MM,
    FOLLOWED,
    POOR_MM,
    RIVAL_MM,
    ROUND_ABOUT,
    UNSURE_MM,
    place_balls,
)

TABLE = Table()
CAMERA = overhead(TABLE)
PLACES_MM = np.array([(600.0, 400.0), (1500.0, 800.0)])
START_MM = PLACES_MM + 0.8
"""Aimed beside, so that the first look moves what it finds however well it sees."""
PICTURE = draw_still(
    CAMERA,
    TABLE,
    [DrawnBall(id=name, x_mm=x, y_mm=y) for name, (x, y) in zip("39", PLACES_MM, strict=True)],
)
FIRST, AGAIN = [2], [1, len(BESIDE_MM)]
FOLLOWED_ON = [1] * FOLLOWED + [len(BESIDE_MM)]
ROUND = [ROUND_ABOUT, ROUND_ABOUT]


class Told:
    """The shipped networks with their certainty of the first ball set, and their later looks drawn
    aside; looks round about find the ball where they are aimed, with ``odds``. Counts crops."""

    def __init__(self, *, sigma_mm: float, aside_mm: float = 0.0, odds: float = -20.0) -> None:
        self.sigma_mm, self.aside_mm, self.odds = sigma_mm, aside_mm, odds
        self.crops: list[int] = []

    def judge(self, crops):
        self.crops.append(len(crops))
        said = shipped().judge(crops)
        precision = said.precision.copy()
        precision[0] = np.eye(2) / self.sigma_mm
        offset, ball = said.offset_mm.copy(), said.ball.copy()
        if len(crops) == ROUND_ABOUT:
            offset[:], ball[:] = 0.0, self.odds
        elif len(self.crops) > 1:
            offset[:, 0] += self.aside_mm
            ball -= 1.0
        return replace(said, precision=precision, offset_mm=offset, ball=ball)


def placed_by(told: Told):
    return place_balls(PICTURE, CAMERA, START_MM, told)


def test_sure_balls_are_looked_at_once() -> None:
    told = Told(sigma_mm=0.1)
    placed_by(told)
    assert told.crops == FIRST


def test_an_unsure_ball_is_looked_at_again_and_from_beside_it() -> None:
    told = Told(sigma_mm=0.45)
    placed = placed_by(told)
    assert told.crops == FIRST + AGAIN
    assert UNSURE_MM < np.sqrt(np.trace(placed.cov_mm2[0])) < POOR_MM
    assert placed.centre_mm == pytest.approx(PLACES_MM, abs=1.0), "mm: drawn balls, median 0.2"


def test_looks_that_disagree_make_the_stated_error_larger() -> None:
    steady, aside = Told(sigma_mm=1.0), Told(sigma_mm=1.0, aside_mm=6.0)
    agreed, torn = placed_by(steady), placed_by(aside)
    assert steady.crops[: len(FIRST + AGAIN)] == FIRST + AGAIN, "found where it was, it is left"
    assert aside.crops[: len(FIRST + FOLLOWED_ON)] == FIRST + FOLLOWED_ON
    assert torn.centre_mm == pytest.approx(agreed.centre_mm), "a look less like a ball moves none"
    grown = np.sqrt(np.trace(torn.cov_mm2[0]) - np.trace(agreed.cov_mm2[0]))
    assert 6.0 < grown < 20.0, "mm: the looks lie 6 to 12 mm aside"
    assert torn.cov_mm2[1] == pytest.approx(agreed.cov_mm2[1]), "the sure ball keeps its error"


def test_a_ball_that_may_as_well_lie_half_a_ball_away_is_doubted() -> None:
    told, alone = Told(sigma_mm=1.0, odds=20.0), Told(sigma_mm=1.0)
    doubted, sure = placed_by(told), placed_by(alone)
    assert told.crops == alone.crops == FIRST + AGAIN + ROUND
    assert doubted.centre_mm == pytest.approx(sure.centre_mm)
    sigma_mm = np.sqrt(np.linalg.eigvalsh(doubted.cov_mm2[0]))
    assert np.all(sigma_mm > RIVAL_MM[0]), "rivals all round, 14 mm off"
    assert np.sqrt(np.trace(sure.cov_mm2[0])) < 2.0, "none there: nothing of this kind is added"
