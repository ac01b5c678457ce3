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
DOUBT_BELOW = 0.95
TAIL = 6.0
"""Degrees of freedom of the bells: dirt, odd paint and mixed lamps are not rare."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """Prototype of a colour: CIE L*a*b* with standard deviations over sets, lamps and rooms."""

    lab: tuple[float, float, float]
    light: float
    """Sigma of L*."""
    chroma: float
    """Sigma along the radius of the a*b* plane: saturation, glare, mirrored cloth."""
    hue: float
    """Sigma across that radius."""


Palette = tuple[Paint, ...]
"""Paints of numbers 1 … 8; 9 … 15 are banded with those of 1 … 7."""

USUAL: Palette = (
    Paint(lab=(79, 7, 78), light=8.0, chroma=10.0, hue=12.0),
    Paint(lab=(30, 35, -63), light=5.0, chroma=12.0, hue=4.5),
    Paint(lab=(44, 63, 43), light=6.5, chroma=13.0, hue=7.0),
    Paint(lab=(25, 32, -42), light=5.0, chroma=10.0, hue=4.5),
    Paint(lab=(59, 51, 59), light=6.5, chroma=12.0, hue=8.0),
    Paint(lab=(33, -27, 12), light=7.0, chroma=8.0, hue=6.0),
    Paint(lab=(25, 31, 11), light=6.0, chroma=10.0, hue=7.0),
    Paint(lab=(17, 2, -5), light=5.0, chroma=8.0, hue=8.0),
)
BROADCAST: Palette = (
    *USUAL[:3],
    Paint(lab=(68, 55, -13), light=8.0, chroma=11.0, hue=10.0),
    *USUAL[4:6],
    Paint(lab=(53, 18, 28), light=10.0, chroma=12.0, hue=7.0),
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
    certainty: float = 1.0,
) -> tuple[Name, ...]:
    """Names of up to 16 balls by their looks, all by the palette and cast that fit best.

    A set's shades and a room's light move all paints alike, so a turn of the hues and a change
    of lightness common to the still are tried beside the palettes. ``certainty`` under 1
    tempers all that the looks say, where the light's colour had to be guessed.
    """
    if not looks:
        return ()
    shares, prior = _share_table(looks), _prior(centres_mm, previous)
    best: tuple[float, FloatArray] | None = None
    for number, palette in enumerate(palettes):
        for turn_deg in HUE_TURNS_DEG:
            for lighter in LIGHTNESS_STEPS:
                paints = _paint_table(looks, palette, turn_deg, lighter)
                table = certainty * (shares + paints) + prior
                less = PALETTE_COST * number
                less += 0.5 * (turn_deg / HUE_SIGMA_DEG) ** 2 + 0.5 * (lighter / LIGHT_SIGMA) ** 2
                total = _assign(table)[0] - less
                if best is None or total > best[0]:
                    best = (total, table)
    assert best is not None
    return _names(best[1])


HUE_TURNS_DEG = (-12.0, -6.0, 0.0, 6.0, 12.0)
HUE_SIGMA_DEG = 5.0
LIGHTNESS_STEPS = (-6.0, 0.0, 6.0, 12.0)
LIGHT_SIGMA = 4.0
PALETTE_COST = 1.0
"""The usual set is taken unless the still speaks for another."""
_UNPAINTED = -10.0
"""Log-likelihood of a usual paint, given to the cue ball, which has none."""


def _share_table(looks: Sequence[Look]) -> FloatArray:
    """Log-likelihoods (K, 16) of the shares of white and of black."""
    white = np.array([look.white for look in looks])
    dark = np.array([look.dark for look in looks])
    out = np.empty((len(looks), len(BALL_IDS)))
    out[:, 0] = _plateau(white, 0.95, 1.0, 0.02)
    out[:, 1:9] = _plateau(white, 0.0, 0.12, 0.05)[:, None]
    out[:, 1:8] += _plateau(dark, 0.0, 0.05, 0.12)[:, None]
    out[:, 8] += _plateau(dark, 0.5, 0.9, 0.12)
    out[:, 9:] = _plateau(white, 0.34, 0.84, 0.05)[:, None]
    return out


def _plateau(value: FloatArray, low: float, high: float, sigma: float) -> FloatArray:
    """Log of a level density between two shares with heavy tails."""
    off = np.maximum(np.maximum(low - value, value - high), 0.0) / sigma
    return np.asarray(
        -0.5 * (TAIL + 1) * np.log1p(off**2 / TAIL) - math.log(high - low + 2 * sigma)
    )


def _paint_table(
    looks: Sequence[Look], palette: Palette, turn_deg: float, lighter: float
) -> FloatArray:
    """Log-likelihoods (K, 16) of the paints when all hues are turned and lightened alike."""
    seen = np.array([look.paint for look in looks])
    white = np.array([look.white for look in looks])
    middle = np.array([paint.lab for paint in palette], dtype=float)
    sigma = np.array([(paint.light, paint.chroma, paint.hue) for paint in palette])
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    turned = middle[:, 1:] @ np.array([[cos, sin], [-sin, cos]])
    turned[7] = middle[7, 1:]  # black has no hue to turn
    outward = turned / np.linalg.norm(turned, axis=1, keepdims=True)
    off = seen[:, None, 1:] - turned
    along = (off * outward).sum(axis=2)
    across = off[..., 0] * outward[:, 1] - off[..., 1] * outward[:, 0]
    lightness = seen[:, :1] - middle[:, 0] - lighter
    wider = 1.0 + _NARROW * np.maximum(white - 0.65, 0.0)[:, None, None]
    parts = np.stack([lightness, along, across], axis=2) / (sigma * wider)
    off2 = (parts**2).sum(axis=2)
    fit = -0.5 * (TAIL + 3) * np.log1p(off2 / TAIL) - np.log(sigma * wider).sum(axis=2)
    unpainted = np.full((len(looks), 1), _UNPAINTED)
    return np.concatenate([unpainted, fit, fit[:, :7]], axis=1)


_NARROW = 8.0
"""A band of which little is seen, at the limb, shows its colour less truly."""


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
