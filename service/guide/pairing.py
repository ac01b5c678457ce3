"""Which ball on the table is meant for which place of the wanted layout.

Names decide. Where a name is in doubt the reading cannot tell, so the ball goes to whichever of
its likely places costs the least moving, and that is said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from calibration.table import BALL_RADIUS_MM
from vision.layout import Ball, Layout

_OTHER_NAME_MM = 1.0
"""What another name than the one that was read costs, so that ties keep the names."""
_NEVER_MM = 1e7


@dataclass(frozen=True, slots=True, kw_only=True)
class Paired:
    """Places with the balls meant for them, in the wanted layout's order, and what is left over."""

    pairs: tuple[tuple[Ball, Ball], ...]
    """The wanted ball and the one on the table."""
    extra: tuple[Ball, ...]
    """Balls on the table that belong nowhere."""
    missing: tuple[Ball, ...]
    """Wanted balls that are not on the table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """Balls, surely named, that lie in one another's places: each in the next one's."""

    balls: tuple[str, ...]
    saves_mm: float
    """Moving that is saved where the numbers of these balls may change places instead."""


def pair(wanted: Layout, now: Layout) -> Paired:
    """The pairs that leave the fewest balls over and cost the least moving."""
    targets, balls = wanted.balls, now.balls
    cost = np.array([[_cost_mm(a, b) for b in balls] for a in targets]).reshape(
        len(targets), len(balls)
    )
    rows, columns = linear_sum_assignment(cost)
    found = {int(i): int(j) for i, j in zip(rows, columns, strict=True) if cost[i, j] < _NEVER_MM}
    used = set(found.values())
    return Paired(
        pairs=tuple((targets[i], balls[j]) for i, j in sorted(found.items())),
        extra=tuple(ball for j, ball in enumerate(balls) if j not in used),
        missing=tuple(ball for i, ball in enumerate(targets) if i not in found),
    )


def swaps(pairs: Sequence[tuple[Ball, Ball]]) -> tuple[Swap, ...]:
    """Rounds of object balls that stand in one another's places, whose names are sure."""
    stands_at: dict[str, str] = {}
    by_name = {target.id: (target, ball) for target, ball in pairs}
    for name, (_, ball) in by_name.items():
        place = _place_of(ball, pairs)
        if place not in (None, name, "cue") and name != "cue":
            stands_at[name] = str(place)
    found, seen = [], set[str]()
    for first in stands_at:
        ring = [first]
        while (following := stands_at.get(ring[-1])) is not None and following not in ring:
            ring.append(following)
        if following == first and not seen & set(ring):
            seen |= set(ring)
            found.append(Swap(balls=tuple(ring), saves_mm=_saved_mm(ring, by_name)))
    return tuple(found)


def _cost_mm(target: Ball, ball: Ball) -> float:
    apart = math.dist(target.centre_mm, ball.centre_mm)
    if target.id == ball.id:
        return apart
    may_be = (ball.doubtful and target.id in {name for name, _ in ball.runners_up}) or (
        target.doubtful and ball.id in {name for name, _ in target.runners_up}
    )
    return apart + _OTHER_NAME_MM if may_be else _NEVER_MM


def _place_of(ball: Ball, pairs: Sequence[tuple[Ball, Ball]]) -> str | None:
    """The wanted place on which a ball stands, whoever's it is."""
    near = min((math.dist(ball.centre_mm, t.centre_mm), t.id) for t, _ in pairs)
    return near[1] if near[0] < BALL_RADIUS_MM else None


def _saved_mm(ring: Sequence[str], by_name: dict[str, tuple[Ball, Ball]]) -> float:
    by_names = sum(math.dist(by_name[n][0].centre_mm, by_name[n][1].centre_mm) for n in ring)
    where_they_stand = sum(
        math.dist(by_name[there][0].centre_mm, by_name[name][1].centre_mm)
        for name, there in zip(ring, [*ring[1:], ring[0]], strict=True)
    )
    return by_names - where_they_stand
