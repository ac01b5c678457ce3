"""Which balls of several views are the same: by where they lie, after a shift where one is needed.

Two balls cannot lie nearer to each other than a diameter, so what two cameras see within half of
one is one ball. Only a camera that was moved sees it elsewhere; then the shift under which most
balls meet is found first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from calibration.arrays import FloatArray

from .view import View

NEAR_MM = 20.0
"""Within this two finds are one ball, as the cameras stand."""
NEARER_MM = 10.0
"""Within this once a shift was found."""
MOST_APART_MM = 150.0
"""Largest shift looked for: a camera that was moved farther is calibrated anew."""
FEWEST = 3
"""So many balls must meet by a shift."""
SAME_NAME, OTHER_NAME = 1.0, 0.4
"""What a meeting counts for a shift when the names agree, and when they do not."""
GAIN = 1.5
"""By so much a shift must be better than none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One ball and the views that see it."""

    by: dict[int, int] = field(default_factory=dict)
    """Number of the view → number of its ball."""
    about_mm: tuple[float, float]
    """About where it lies; for pairing alone."""


def same_balls(views: Sequence[View]) -> tuple[Seen, ...]:
    """All balls of the views, those that are one and the same united."""
    order = sorted(range(len(views)), key=lambda i: -len(views[i].layout.balls))
    found: list[Seen] = []
    names: list[str] = []
    for i in order:
        balls, places = views[i].layout.balls, views[i].places_mm
        known = np.array([each.about_mm for each in found], dtype=float).reshape(-1, 2)
        moved, pairs = _met(known, names, places, [ball.id for ball in balls])
        met = {theirs: ours for ours, theirs in pairs}
        for k, ball in enumerate(balls):
            if k in met:
                found[met[k]].by[i] = k
            else:
                x, y = moved[k]
                found.append(Seen(by={i: k}, about_mm=(float(x), float(y))))
                names.append(ball.id)
    return tuple(found)


def _met(
    known_mm: FloatArray, known_names: Sequence[str], places_mm: FloatArray, names: Sequence[str]
) -> tuple[FloatArray, list[tuple[int, int]]]:
    """The places (K, 2), moved where that is needed, and which meet which of (N, 2)."""
    pairs = _pairs(known_mm, places_mm, NEAR_MM)
    if not len(known_mm) or not len(places_mm):
        return places_mm, pairs
    same = np.array([[a == b for b in names] for a in known_names])
    worth = np.where(same, SAME_NAME, OTHER_NAME)
    best, best_pairs = places_mm, pairs
    least = sum(worth[pair] for pair in pairs) + GAIN
    for shift in _shifts(known_mm, places_mm):
        moved = places_mm + shift
        some = _pairs(known_mm, moved, NEAR_MM)
        if len(some) < FEWEST:
            continue
        moved = _rigid(known_mm, places_mm, some)
        some = _pairs(known_mm, moved, NEARER_MM)
        score = sum(worth[pair] for pair in some)
        if len(some) >= FEWEST and score > least:
            least, best, best_pairs = score, moved, some
    return best, best_pairs


def _shifts(known_mm: FloatArray, places_mm: FloatArray) -> FloatArray:
    """Shifts that bring one ball onto another, (S, 2), the smallest first."""
    every = (known_mm[:, None] - places_mm[None]).reshape(-1, 2)
    size = np.hypot(*every.T)
    every = every[(size > NEAR_MM / 2) & (size < MOST_APART_MM)]
    return every[np.argsort(np.hypot(*every.T), kind="stable")]


def _pairs(known_mm: FloatArray, places_mm: FloatArray, within_mm: float) -> list[tuple[int, int]]:
    if not len(known_mm) or not len(places_mm):
        return []
    apart = np.linalg.norm(known_mm[:, None] - places_mm[None], axis=2)
    rows, columns = linear_sum_assignment(np.minimum(apart, 10 * within_mm))
    return [
        (int(i), int(j)) for i, j in zip(rows, columns, strict=True) if apart[i, j] <= within_mm
    ]


def _rigid(
    known_mm: FloatArray, places_mm: FloatArray, pairs: Sequence[tuple[int, int]]
) -> FloatArray:
    """The places (K, 2) after the shift and turn that best bring the pairs together."""
    target = known_mm[[i for i, _ in pairs]]
    given = places_mm[[j for _, j in pairs]]
    middle, other = given.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((given - middle).T @ (target - other))
    turn = u @ np.diag([1.0, float(np.sign(np.linalg.det(u @ vt)))]) @ vt
    return np.asarray((places_mm - middle) @ turn + other)
