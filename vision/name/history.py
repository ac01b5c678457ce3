"""What earlier stills and persons said of balls that have not moved since.

A resting ball looks the same in every still, so another look is no new evidence: the looks of one
ball are averaged, never added up, and what the joint naming made of them is left out. A person's
word holds as long as the ball lies there and looks as it did.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from vision.layout import BALL_IDS, Ball, Layout

UNMOVED_MM = 4.0
"""A ball found this near to where one lay before has probably not moved."""
LOOKS_APART = 0.01
"""Chance, by their looks, that two balls bear one name below which another ball lies there now:
set-ups put different balls on the same marks."""
LEAST_CHANCE = 1e-4
"""No look rules a name out further than this: networks have not seen every set."""
KEPT_CHANCE = 1e-4
"""Rarer names of a look are not kept with the layout; they share what is left evenly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Names of K balls by all their looks, each ball by itself, and by persons."""

    looks: FloatArray
    """Log probabilities (K, 16)."""
    said: tuple[str | None, ...]
    """Names that a person gave, where one did."""

    def joint(self) -> FloatArray:
        """Log weights (K, 16) for naming all balls together; a said name leaves no other."""
        out = self.looks.copy()
        for k, name in enumerate(self.said):
            if name is not None:
                out[k] = RULED_OUT
                out[k, BALL_IDS.index(name)] = 0.0
        return out


RULED_OUT = -1e3


def known(looks: FloatArray, centres_mm: FloatArray, previous: Layout | None) -> Known:
    """What is known of balls at (K, 2) mm: ``looks`` (K, 16), log weights of this still's names,
    and what ``previous`` knew of those that have not moved."""
    now = looks - np.logaddexp.reduce(looks, axis=1, keepdims=True)
    out = now.copy()
    said: list[str | None] = [None] * len(now)
    for ball in previous.balls if previous is not None and len(now) else ():
        apart = np.linalg.norm(centres_mm - np.array(ball.centre_mm), axis=1)
        near = int(apart.argmin())
        if apart[near] < UNMOVED_MM:
            before = look_of(ball)
            if ball.said and _same_ball(now[near], before, ball.id):
                said[near] = ball.id
            if _same_ball(now[near], before):
                mean = (now[near] + before) / 2
                out[near] = mean - np.logaddexp.reduce(mean)
    return Known(looks=out, said=tuple(said))


def kept(look: FloatArray) -> tuple[tuple[str, float], ...]:
    """A look (16,), log probabilities, as a layout keeps it: likely names, best first."""
    chance = np.exp(look)
    order = [int(i) for i in np.argsort(-chance, kind="stable") if chance[i] >= KEPT_CHANCE]
    return tuple((BALL_IDS[i], float(chance[i])) for i in order)


def look_of(ball: Ball) -> FloatArray:
    """Log probabilities (16,) of what is kept of a ball's looks.

    A layout that was written by hand or by an earlier release knows the name alone.
    """
    given = ball.look or ((ball.id, ball.confidence), *ball.runners_up)
    chance = np.zeros(len(BALL_IDS))
    for name, share in given:
        chance[BALL_IDS.index(name)] = share
    left = max(0.0, 1.0 - float(chance.sum())) / max(1, len(BALL_IDS) - len(given))
    chance = np.where(chance > 0, chance, max(left, LEAST_CHANCE / 2))
    return np.asarray(np.log(chance / chance.sum()))


def _same_ball(now: FloatArray, before: FloatArray, said: str | None = None) -> bool:
    """Whether two looks (16,) can be of one ball, or the later one of what was said."""
    alike = float(np.exp(now + before).sum())
    told = 0.0 if said is None else float(np.exp(now[BALL_IDS.index(said)]))
    return alike + told > LOOKS_APART
