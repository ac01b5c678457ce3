"""Places of all balls and the cameras' own errors in one solve.

A camera's calibration is wrong in the same way for all its balls, so their errors are no
independent looks. Each view's unknowns (``View.common_mm``) are solved for together with the
places, from the balls that several cameras see; what a camera sees alone is set right by them too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray

from .same_balls import Seen
from .view import View

PLANE_999 = 13.815510557964274
"""dof 2, share 99.9 %: a ball that its cameras see farther apart is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Freed:
    """How far a camera may be off beside its calibration's errors: 1 sigma, mm and radians."""

    shift_mm: float
    turn_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Places of K balls, and how far V views are off."""

    places_mm: FloatArray
    """(K, 2)."""
    cov_mm2: FloatArray
    """(K, 2, 2): each ball's whole error, what all share included."""
    off: FloatArray
    """(V, 3): each view's places minus the joined ones, as shift x, y in mm and turn in radians
    about the table's middle."""
    off_sigma_mm: FloatArray
    """(V,): what the shared balls leave open of the shift against the other views."""
    cost: float
    """Chi-square: what the views differ by, and what the calibrations would have to be off by."""
    apart: FloatArray
    """(K,): chi-square, two degrees of freedom a view more than one, by which views of each ball
    differ once the cameras are set right."""


def solve(
    views: Sequence[View],
    balls: Sequence[Seen],
    *,
    freed: Mapping[int, Freed] | None = None,
    doubt: FloatArray | None = None,
) -> Solved:
    """Places of the balls. ``freed`` views may be off farther; ``doubt`` (K,) widens balls."""
    problem = _Problem.of(views, balls, freed or {}, doubt)
    cov = np.linalg.inv(problem.normal)
    # rounding of a sum of very unlike weights
    cov = (cov + cov.T) / 2
    found = cov @ problem.right
    k = 2 * len(balls)
    places = found[:k].reshape(-1, 2)
    blocks = np.array([cov[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] for i in range(len(balls))])
    off, sigma = _offsets(views, problem.first, found, cov)
    cost, apart = problem.costs(found, len(balls))
    return Solved(
        places_mm=places, cov_mm2=blocks.reshape(-1, 2, 2), off=off, off_sigma_mm=sigma,
        cost=cost, apart=apart,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Look:
    """One ball by one view: rows of the design and their weight."""

    ball: int
    at_mm: FloatArray
    rows: FloatArray
    """(2, unknowns)."""
    weight: FloatArray


@dataclass(frozen=True, eq=False)
class _Problem:
    """Normal equations: two unknowns a ball, then each view's own with standard deviation 1."""

    normal: FloatArray
    right: FloatArray
    looks: tuple[_Look, ...]
    first: tuple[tuple[int, FloatArray], ...]
    """Of each view: where its unknowns begin, and how they move a point (basis is kept apart)."""

    @classmethod
    def of(
        cls,
        views: Sequence[View],
        balls: Sequence[Seen],
        freed: Mapping[int, Freed],
        doubt: FloatArray | None,
    ) -> _Problem:
        slopes = [_slopes(view, view.places_mm, freed.get(i)) for i, view in enumerate(views)]
        counts = [part.shape[2] for part in slopes]
        begins = 2 * len(balls) + np.concatenate([[0], np.cumsum(counts)]).astype(int)
        size = int(begins[-1])
        looks = []
        for b, ball in enumerate(balls):
            for i, k in ball.by.items():
                rows = np.zeros((2, size))
                rows[:, 2 * b : 2 * b + 2] = np.eye(2)
                rows[:, begins[i] : begins[i] + counts[i]] = slopes[i][k]
                wider = 1.0 if doubt is None else float(doubt[b])
                weight = np.linalg.inv(views[i].random_mm2[k] * wider)
                looks.append(_Look(b, views[i].places_mm[k], rows, weight))
        normal = np.zeros((size, size))
        right = np.zeros(size)
        for look in looks:
            normal += look.rows.T @ look.weight @ look.rows
            right += look.rows.T @ look.weight @ look.at_mm
        own = np.arange(2 * len(balls), size)
        normal[own, own] += 1.0
        middle = _table_points(views[0])
        first = tuple(
            (int(begins[i]), _slopes(view, middle, freed.get(i))) for i, view in enumerate(views)
        )
        return cls(normal, right, tuple(looks), first)

    def costs(self, found: FloatArray, count: int) -> tuple[float, FloatArray]:
        apart = np.zeros(count)
        for look in self.looks:
            left = look.at_mm - look.rows @ found
            apart[look.ball] += float(left @ look.weight @ left)
        return float(apart.sum() + (found[2 * count :] ** 2).sum()), apart


def _slopes(view: View, places_mm: FloatArray, freed: Freed | None) -> FloatArray:
    """(N, 2, Q): how a view's unknowns, each of standard deviation 1, move places."""
    common = view.common_mm(places_mm)
    if freed is None:
        return common
    away = places_mm - np.asarray(view.calibration.table.surface_mm) / 2
    free = np.zeros((len(places_mm), 2, 3))
    free[:, 0, 0] = free[:, 1, 1] = freed.shift_mm
    free[:, 0, 2], free[:, 1, 2] = -away[:, 1] * freed.turn_rad, away[:, 0] * freed.turn_rad
    return np.concatenate([common, free], axis=2)


def _table_points(view: View) -> FloatArray:
    """Places spread over the bed, the middle first, (N, 2)."""
    length_mm, width_mm = view.calibration.table.surface_mm
    share = np.array([[0.5, 0.5], [0.1, 0.1], [0.1, 0.9], [0.9, 0.1], [0.9, 0.9]])
    return share * (length_mm, width_mm)


def _offsets(
    views: Sequence[View],
    first: Sequence[tuple[int, FloatArray]],
    found: FloatArray,
    cov: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Shift and turn of each view that fit what its unknowns do over the bed, and the error of
    the shift against the mean of all."""
    points = _table_points(views[0])
    away = points - points[0]
    design = np.zeros((len(points), 2, 3))
    design[:, 0, 0] = design[:, 1, 1] = 1.0
    design[:, 0, 2], design[:, 1, 2] = -away[:, 1], away[:, 0]
    fit = np.linalg.pinv(design.reshape(-1, 3))
    gains = np.zeros((len(first), 3, len(found)))
    for i, (begin, slopes) in enumerate(first):
        count = slopes.shape[2]
        gains[i, :, begin : begin + count] = fit @ slopes.reshape(-1, count)
    off = gains @ found
    against = (gains - gains.mean(axis=0))[:, :2]
    spread = against @ cov @ np.swapaxes(against, 1, 2)
    return off, np.sqrt(np.maximum(np.trace(spread, axis1=1, axis2=2) / 2, 0.0))


def solve_doubting(
    views: Sequence[View], balls: Sequence[Seen], freed: Mapping[int, Freed], start: Solved
) -> tuple[Solved, FloatArray]:
    """The same with balls doubted that their views see farther apart than their errors allow.

    The worst is widened first, since a wrong one makes its neighbours look wrong. Returns what
    was solved and by what each ball's covariances were multiplied, (K,).
    """
    doubt = np.ones(len(balls))
    solved = start
    several = np.array([len(ball.by) > 1 for ball in balls], dtype=bool)
    for _ in range(len(balls)):
        left = np.where(several & (doubt == 1), solved.apart, 0.0)
        worst = int(left.argmax()) if len(left) else 0
        if not len(left) or left[worst] <= PLANE_999:
            break
        doubt[worst] = left[worst]
        solved = solve(views, balls, freed=freed, doubt=doubt)
    return solved, doubt
