"""Names: class probabilities a ball, then one joint assignment a still.

Each number occurs at most once and there is one cue ball, so the names that fit all balls best
together are taken; what the assignment would lose by another name gives the confidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from .layout import BALL_IDS, Layout
from .look import Look

FloatArray = NDArray[np.float64]
UNMOVED_MM = 4.0
"""A ball found this near to where one lay before has probably not moved."""
UNMOVED_BONUS = 4.0
"""Log-likelihood that the name is then the same."""
DOUBT_BELOW = 0.9
OUTLIER = -14.0
"""Least log-likelihood of a feature: dirt, odd paint, a wrong prototype."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """Prototype of a colour: CIE L*a*b* with standard deviations."""

    lab: tuple[float, float, float]
    sigma: tuple[float, float, float] = (9.0, 10.0, 10.0)


Palette = tuple[tuple[Paint, ...], ...]
"""Paints of numbers 1 … 8 (and of 9 … 15), alternatives for each."""

USUAL: Palette = (
    (Paint(lab=(78, 15, 75)),),
    (Paint(lab=(32, 12, -48)),),
    (Paint(lab=(45, 58, 40)),),
    (Paint(lab=(30, 30, -32)),),
    (Paint(lab=(60, 48, 62)),),
    (Paint(lab=(38, -38, 14)),),
    (Paint(lab=(28, 32, 14)),),
    (Paint(lab=(14, 0, 0), sigma=(8.0, 6.0, 6.0)),),
)
BROADCAST: Palette = (
    *USUAL[:3],
    (Paint(lab=(65, 48, 2)),),
    *USUAL[4:6],
    (Paint(lab=(62, 14, 30)),),
    USUAL[7],
)
PALETTES = (USUAL, BROADCAST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Name:
    """A ball's name with the probability that it is right."""

    id: str
    confidence: float
    runners_up: tuple[tuple[str, float], ...]

    @property
    def doubtful(self) -> bool:
        """Whether a person should look."""
        return self.confidence < DOUBT_BELOW


def name_balls(
    looks: Sequence[Look],
    centres_mm: FloatArray,
    *,
    previous: Layout | None = None,
    palettes: Sequence[Palette] = PALETTES,
) -> tuple[Name, ...]:
    """Names of up to 16 balls by their looks; the best-fitting palette is used for all."""
    if not looks:
        return ()
    best: tuple[float, FloatArray] | None = None
    for number, palette in enumerate(palettes):
        table = np.array([log_likelihoods(look, palette) for look in looks])
        table += _prior(centres_mm, previous)
        total = (
            _assign(table)[0] - 1.0 * number
        )  # the usual set unless the still speaks for another
        if best is None or total > best[0]:
            best = (total, table)
    assert best is not None
    return _names(best[1])


def log_likelihoods(look: Look, palette: Palette) -> FloatArray:
    """Log-likelihood (16,) of each name in the order of ``BALL_IDS``."""
    out = np.empty(len(BALL_IDS))
    out[0] = _share(look.white, 0.97, 0.05, 0.03) + _share(look.coloured, 0.0, 0.05, 0.06) - 9.0
    for number in range(1, 16):
        paints = palette[(number - 1) % 8]
        value = max(_paint_fit(look, paint, number) for paint in paints)
        if number <= 8:
            value += _share(look.white, 0.05, 0.05, 0.07)
        else:
            value += _share(look.white, 0.57, 0.17, 0.17)
        out[number] = value
    return out


def _share(value: float, middle: float, below: float, above: float) -> float:
    """Log of an uneven bell with a floor."""
    sigma = above if value > middle else below
    return max(-0.5 * ((value - middle) / sigma) ** 2, OUTLIER) - math.log(below + above)


def _paint_fit(look: Look, paint: Paint, number: int) -> float:
    """How well the colour that is not white fits; a narrow band says less."""
    widen = 1.0 + (0.5 if number > 8 else 0.0) + 0.25 / max(1.0 - look.white, 0.1) * 0.2
    off = (np.array(look.paint) - paint.lab) / (np.array(paint.sigma) * widen)
    penalty = float(np.log(np.array(paint.sigma) * widen).sum())
    return max(float(-0.5 * off @ off), 3 * OUTLIER) - penalty


def _prior(centres_mm: FloatArray, previous: Layout | None) -> FloatArray:
    out = np.zeros((len(centres_mm), len(BALL_IDS)))
    for ball in previous.balls if previous is not None else ():
        apart = np.linalg.norm(centres_mm - np.array(ball.centre_mm), axis=1)
        near = int(apart.argmin())
        if apart[near] < UNMOVED_MM:
            out[near, BALL_IDS.index(ball.id)] = UNMOVED_BONUS * ball.confidence
    return out


def _assign(table: FloatArray) -> tuple[float, NDArray[np.intp]]:
    """Greatest total of a one-to-one naming and its columns; balls beyond 16 are refused."""
    rows, columns = linear_sum_assignment(-table)
    out = np.full(len(table), -1, dtype=np.intp)
    out[rows] = columns
    return float(table[rows, columns].sum()), out


def _names(table: FloatArray) -> tuple[Name, ...]:
    """Joint names; a confidence from what every other name would cost all balls together."""
    total, chosen = _assign(table)
    names = []
    for k, column in enumerate(chosen):
        lost = np.full(len(BALL_IDS), np.inf)
        lost[column] = 0.0
        for other in range(len(BALL_IDS)):
            if other != column and table[k, column] - table[k, other] < 25:
                forced = table.copy()
                forced[k] = -1e6
                forced[k, other] = table[k, other]
                lost[other] = total - _assign(forced)[0]
        chance = np.exp(-np.maximum(lost, 0))
        chance /= chance.sum()
        order = [int(i) for i in np.argsort(-chance) if i != column and chance[i] > 0.01][:3]
        confidence = float(chance[column])
        runners = tuple((BALL_IDS[i], float(chance[i])) for i in order)
        names.append(
            Name(
                id=BALL_IDS[int(column)],
                confidence=confidence,
                runners_up=runners if confidence < DOUBT_BELOW else (),
            )
        )
    return tuple(names)
