"""Names: what the crop network says of each ball, then one joint assignment a still.

Each number occurs at most once and there is one cue ball, so the names that fit all balls best
together are taken; what the assignment would lose by another name gives the confidence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from calibration.arrays import FloatArray
from calibration.notices import Notice
from vision.layout import BALL_IDS, Layout

from .history import LEAST_CHANCE, Known, kept, known

DOUBT_BELOW = 0.95
TEMPERATURE = 2.0
"""What the log probabilities are divided by, so that confidences come true."""
WORTH_TRYING = 9.0
"""Log odds beyond which an alternative cannot matter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Name:
    """A ball's name with the probability that it is right."""

    id: str
    confidence: float
    runners_up: tuple[tuple[str, float], ...]
    look: tuple[tuple[str, float], ...] = ()
    """Likely names by the ball's looks alone, best first."""
    said: bool = False
    """A person gave the name."""

    @property
    def doubtful(self) -> bool:
        """Whether a person should look."""
        return self.confidence < DOUBT_BELOW


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """What is known of this very ball set, for K balls of a still."""

    log_likelihood: FloatArray
    """Of each name against any other, (K, 16); 0 where nothing is known."""
    mistrust: float
    """Share of the set's balls that the network knows nothing of, 0 … 1."""


def name_balls(
    chances: FloatArray,
    centres_mm: FloatArray,
    *,
    previous: Layout | None = None,
    hint: Hint | None = None,
) -> tuple[Name, ...]:
    """Names of up to 16 balls by their log probabilities (K, 16), one each.

    ``previous`` is the layout before: what was known of a ball that still lies there counts as
    one more look at the same ball, or as said. ``hint`` is what a taught set says of the balls.
    """
    if len(chances) == 0:
        return ()
    return _names(known(_believed(chances, hint), centres_mm, previous))


def name_by_looks(looks: FloatArray, said: tuple[str | None, ...]) -> tuple[Name, ...]:
    """Names of up to 16 balls by what all is known of each: log weights (K, 16), and persons."""
    return _names(Known(looks=looks, said=said)) if len(looks) else ()


def chances_alone(chances: FloatArray) -> FloatArray:
    """Probabilities (K, 16) by the network alone of log probabilities (K, 16), each ball's own."""
    soft = np.exp(chances / TEMPERATURE)
    return np.asarray(soft / soft.sum(axis=1, keepdims=True), dtype=float)


def _believed(chances: FloatArray, hint: Hint | None) -> FloatArray:
    """Log weights (K, 16) of the names by the network and the taught set."""
    if hint is None:
        return np.logaddexp(chances / TEMPERATURE, np.log(LEAST_CHANCE))
    least = max(LEAST_CHANCE, hint.mistrust / len(BALL_IDS))
    trusted = chances / TEMPERATURE + np.log1p(-hint.mistrust)
    return np.logaddexp(trusted, np.log(least)) + hint.log_likelihood


def alike(
    chances: FloatArray,
    centres_mm: FloatArray,
    *,
    hint: Hint | None = None,
    names: tuple[Name, ...] = (),
) -> list[Notice]:
    """A notice for every name that two or more balls (K, 16 log probabilities) look like.

    Of ``names`` those that a person gave count as told apart.
    """
    if len(chances) == 0:
        return []
    if hint is not None:
        believed = _believed(chances, hint)
        chances = believed - np.logaddexp.reduce(believed, axis=1, keepdims=True)
    likely = np.exp(chances) > LOOKS_LIKE
    for k, name in enumerate(names):
        if name.said:
            likely[k] = False
    out = []
    for column in np.flatnonzero(likely.sum(axis=0) > 1):
        places_mm = [[float(x), float(y)] for x, y in centres_mm[likely[:, column]]]
        where = "; ".join(f"x {x:.0f}, y {y:.0f} mm" for x, y in places_mm)
        called = "the cue ball" if BALL_IDS[column] == "cue" else f"ball {BALL_IDS[column]}"
        out.append(
            Notice(
                code="names-alike",
                text=f"{len(places_mm)} balls look like {called}: {where}.",
                fields={"id": BALL_IDS[column], "places_mm": places_mm},
            )
        )
    return out


LOOKS_LIKE = 0.5
"""Probability, by its look alone, from which a ball looks like a name."""


def _names(balls: Known) -> tuple[Name, ...]:
    """Joint names; a confidence from what every other name would cost all balls together."""
    table = balls.joint()
    chosen = linear_sum_assignment(table, maximize=True)[1]
    lost = _lost(table, chosen)
    return tuple(
        _name(lost[k], int(column), look=kept(balls.looks[k]), said=balls.said[k] is not None)
        for k, column in enumerate(chosen)
    )


def _lost(table: FloatArray, chosen: NDArray[np.intp]) -> FloatArray:
    """What all balls together lose if a ball gets another name than the best naming's, (K, 16).

    A name that is taken drives its ball to another, and so on, until one comes to a free name or
    to the first ball's own; and that, left free, may draw others. The cheapest such ways are
    shortest paths between names.
    """
    own = table[np.arange(len(table)), chosen]
    cost = own[:, None] - table
    way = np.full((len(BALL_IDS), len(BALL_IDS)), np.inf)
    way[chosen] = cost
    np.fill_diagonal(way, 0.0)
    for through in chosen:
        np.minimum(way, way[:, through, None] + way[through], out=way)
    free = np.setdiff1d(np.arange(len(BALL_IDS)), chosen)
    to_free = way[:, free].min(axis=1, initial=np.inf)
    drawn = way[:, chosen].min(axis=0)
    lost = cost + np.minimum(way[:, chosen].T, to_free + drawn[:, None])
    lost[cost >= WORTH_TRYING] = np.inf
    lost[np.arange(len(table)), chosen] = 0.0
    return lost


def _name(
    lost: FloatArray, column: int, *, look: tuple[tuple[str, float], ...], said: bool
) -> Name:
    chance = np.exp(-np.maximum(lost, 0))
    chance /= chance.sum()
    order = [int(i) for i in np.argsort(-chance) if i != column and chance[i] > 0.01][:3]
    confidence = float(chance[column])
    runners = tuple((BALL_IDS[i], float(chance[i])) for i in order)
    return Name(
        id=BALL_IDS[column],
        confidence=confidence,
        runners_up=runners if confidence < DOUBT_BELOW else (),
        look=look,
        said=said,
    )
