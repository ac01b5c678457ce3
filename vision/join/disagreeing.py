"""Whether the cameras agree within their stated errors, and which of them was moved where not.

That two cameras disagree is seen by the balls that both see; which of them is wrong is told by the
others where there are more, by the rails of each, or by what each saw before of balls that have
not moved since. Where nothing tells, both are said and both errors are widened.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.arrays import FloatArray
from vision.layout import Layout

from .places import PLANE_999, Freed, Solved, solve
from .same_balls import Seen
from .view import View

RIGID_9999 = 21.107513467474986
"""dof 3, share 99.99 %: what a shift and a turn must explain before it is said."""
LEAST_APART_MM = 1.0
"""A camera that is off by less anywhere on the bed is not said to be."""
FREE = Freed(shift_mm=150.0, turn_rad=0.05)
"""How far a camera that was moved may be."""
CLEARER = 9.0
"""Chi-square by which one camera must explain a disagreement better than any other."""
FEWEST_SHARED = 2
ODD = 1e4
"""What the covariance of a ball that does not fit is multiplied by to ask the others alone."""
HELD_MM, GONE_MM = 1.0, 60.0
"""A ball seen this near to where the same camera saw it before has not moved; farther than the
latter it was played."""
OTHERS, RAILS, BEFORE = "others", "rails", "before"
"""How a moved camera is told: by the cameras beside it, its rails, or its own still before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The solve to use, and what it found of the cameras."""

    solved: Solved
    moved: Mapping[int, str] = field(default_factory=dict)
    """Views that were moved, and how that is known."""
    apart: tuple[int, ...] = ()
    """Views of which one at least is wrong, and none can say which."""
    worst_mm: Mapping[int, float] = field(default_factory=dict)
    """How far each of these is off, where on the bed it is most."""
    freed: Mapping[int, Freed] = field(default_factory=dict)
    """With which the solve was made."""


def judged(views: Sequence[View], balls: Sequence[Seen], previous: Layout | None = None) -> Judged:
    """Solve, and free the cameras that the others belie."""
    freed: dict[int, Freed] = {}
    moved: dict[int, str] = {}
    worst: dict[int, float] = {}
    now = solve(views, balls)
    while True:
        tried = _tried(views, balls, now, freed)
        if not tried:
            return Judged(solved=now, moved=moved, worst_mm=worst, freed=freed)
        off_mm = {i: _worst_mm(views[i], there.off[i]) for i, there in tried.items()}
        who = _who(views, balls, tried, previous)
        if who is None:
            apart = tuple(sorted(tried))
            wide = {
                i: Freed(shift_mm=off_mm[i] / math.sqrt(2), turn_rad=abs(float(tried[i].off[i, 2])))
                for i in apart
            }
            known = {**worst, **{i: off_mm[i] for i in apart}}
            freed |= wide
            widened = solve(views, balls, freed=freed)
            return Judged(solved=widened, moved=moved, apart=apart, worst_mm=known, freed=freed)
        index, how = who
        moved[index], worst[index], freed[index] = how, off_mm[index], FREE
        now = tried[index]


def _tried(
    views: Sequence[View], balls: Sequence[Seen], now: Solved, freed: Mapping[int, Freed]
) -> dict[int, Solved]:
    """What is found if each view were moved, for those with which that explains much."""
    out: dict[int, Solved] = {}
    if len(views) - len(freed) < 2:
        return out
    doubt = _one_odd_ball(now, balls)
    without = now if doubt is None else solve(views, balls, freed=freed, doubt=doubt)
    for i in range(len(views)):
        shared = sum(i in ball.by and len(ball.by) > 1 for ball in balls)
        if i in freed or shared < FEWEST_SHARED:
            continue
        there = solve(views, balls, freed={**freed, i: FREE}, doubt=doubt)
        gains = without.cost - there.cost
        if gains > RIGID_9999 and _worst_mm(views[i], there.off[i]) > LEAST_APART_MM:
            out[i] = solve(views, balls, freed={**freed, i: FREE})
    return out


def _one_odd_ball(now: Solved, balls: Sequence[Seen]) -> FloatArray | None:
    """Widens, (K,), the single one of several shared balls that does not fit; None without.

    It must not make a camera of it: that has to be moved by the others' word.
    """
    shared = [k for k, ball in enumerate(balls) if len(ball.by) > 1]
    odd = [k for k in shared if now.apart[k] > PLANE_999]
    if len(shared) <= FEWEST_SHARED or len(odd) != 1:
        return None
    out = np.ones(len(balls))
    out[odd[0]] = ODD
    return out


def _worst_mm(view: View, off: FloatArray) -> float:
    """How far a shift and turn about the middle move the bed's farthest corner."""
    half = np.asarray(view.calibration.table.surface_mm) / 2
    corners = half * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
    move = off[:2] + off[2] * np.column_stack([-corners[:, 1], corners[:, 0]])
    return float(np.hypot(*move.T).max())


def _who(
    views: Sequence[View],
    balls: Sequence[Seen],
    tried: Mapping[int, Solved],
    previous: Layout | None,
) -> tuple[int, str] | None:
    """The moved one of those that may be, and how that is known."""
    costs = {i: there.cost for i, there in tried.items()}
    best = min(costs, key=lambda i: costs[i])
    others = [cost for i, cost in costs.items() if i != best]
    if len(views) > 2 and all(cost - costs[best] > CLEARER for cost in others):
        return best, OTHERS
    if len(tried) == 1 and len(views) > 2:
        return best, OTHERS
    said = [i for i in tried if views[i].moved_by_rails]
    if len(said) == 1:
        return said[0], RAILS
    loose = [i for i in tried if not views[i].held_by_rails]
    if len(loose) == 1:
        return loose[0], RAILS
    told = _by_the_still_before(views, balls, tuple(tried), previous)
    return None if told is None else (told, BEFORE)


def _by_the_still_before(
    views: Sequence[View], balls: Sequence[Seen], which: Sequence[int], previous: Layout | None
) -> int | None:
    """The one view for which all has shifted that the others saw lie still."""
    own = {part.camera: part.layout for part in previous.cameras} if previous else {}
    steps: dict[int, dict[int, float]] = {}
    for i in which:
        before = own.get(views[i].camera)
        if before is None:
            return None
        steps[i] = _steps_mm(views[i], balls, before, i)
    shared = [k for k in range(len(balls)) if all(k in steps[i] for i in which)]
    still = [k for k in shared if any(steps[i][k] < HELD_MM for i in which)]
    if len(still) < FEWEST_SHARED:
        return None
    held = {i: float(np.mean([steps[i][k] < HELD_MM for k in still])) for i in which}
    loose = [i for i in which if held[i] < 0.5]
    firm = [i for i in which if held[i] > 0.8]
    return loose[0] if len(loose) == 1 and len(firm) == len(which) - 1 else None


def _steps_mm(view: View, balls: Sequence[Seen], before: Layout, index: int) -> dict[int, float]:
    """How far each ball lies from where this camera saw it before; not those that were played."""
    out = {}
    for k, ball in enumerate(balls):
        if index not in ball.by:
            continue
        x, y = view.places_mm[ball.by[index]]
        apart = [math.hypot(x - was.x_mm, y - was.y_mm) for was in before.balls]
        if apart and min(apart) < GONE_MM:
            out[k] = min(apart)
    return out
