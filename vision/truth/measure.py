"""How right readings are: layouts matched with truth, and the figures of accuracy.

Matching is one to one by nearest places within a limit, names not looked at; a wrong name at
the right place is a wrong name, not a miss and a false find.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from calibration.arrays import FloatArray
from calibration.chi_square import PLANE_95
from vision.layout import Ball, Layout

from .file import TruthBall

MATCH_WITHIN_MM = 20.0
"""A find farther from every ball than this is no find of it; about a third of a ball."""
COUNTED_FROM = 0.2
"""Balls less visible than this may be missed without it counting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A ball of the truth and the find that stands for it."""

    truth: TruthBall
    found: Ball

    @property
    def off_mm(self) -> tuple[float, float]:
        """Found minus true place."""
        return (self.found.x_mm - self.truth.x_mm, self.found.y_mm - self.truth.y_mm)

    @property
    def distance_mm(self) -> float:
        """Distance between found and true place."""
        return math.hypot(*self.off_mm)

    @property
    def squared_sigmas(self) -> float:
        """Squared Mahalanobis distance by the stated covariance; NaN where it states none."""
        cov = np.asarray(self.found.cov_mm2, dtype=float)
        if not np.linalg.det(cov) > 0:
            return math.nan
        off = np.asarray(self.off_mm)
        return float(off @ np.linalg.solve(cov, off))

    @property
    def name_right(self) -> bool:
        """Whether the find carries the ball's name."""
        return self.truth.id == self.found.id


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """One still's layout against its truth."""

    still: str
    pairs: tuple[Pair, ...]
    missed: tuple[TruthBall, ...]
    invented: tuple[Ball, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Figures over many stills; distances in mm, NaN where nothing was matched."""

    stills: int
    balls: int
    missed: int
    invented: int
    wrong_names: int
    wrong_names_undoubted: int
    """Wrong names that were not marked doubtful."""
    cue_wrong: int
    """Cue balls missed, misnamed or invented by name."""
    doubtful: int
    median_mm: float
    p95_mm: float
    p99_mm: float
    worst_mm: float
    coverage_95: float
    """Share of errors inside the stated 95 % ellipse."""

    @property
    def names_right(self) -> float:
        """Share of found balls with the right name."""
        found = self.balls - self.missed
        return 1 - self.wrong_names / found if found else math.nan

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object; a figure without data is null."""
        out = {**asdict(self), "names_right": self.names_right}
        return {
            key: None if isinstance(value, float) and math.isnan(value) else value
            for key, value in out.items()
        }


def match_layout(
    layout: Layout, truth_balls: Sequence[TruthBall], *, within_mm: float = MATCH_WITHIN_MM
) -> Matched:
    """Match a layout's balls with the true ones, one to one, nearest in sum."""
    near = nearest_pairs(
        np.array([(ball.x_mm, ball.y_mm) for ball in truth_balls]).reshape(-1, 2),
        np.array([ball.centre_mm for ball in layout.balls]).reshape(-1, 2),
        within_mm=within_mm,
    )
    pairs = [Pair(truth=truth_balls[i], found=layout.balls[j]) for i, j in near]
    taken_truth, taken_found = {i for i, _ in near}, {j for _, j in near}
    return Matched(
        still=layout.still,
        pairs=tuple(pairs),
        missed=tuple(
            ball
            for i, ball in enumerate(truth_balls)
            if i not in taken_truth and ball.visible >= COUNTED_FROM
        ),
        invented=tuple(ball for j, ball in enumerate(layout.balls) if j not in taken_found),
    )


def nearest_pairs(
    true_mm: FloatArray, found_mm: FloatArray, *, within_mm: float
) -> list[tuple[int, int]]:
    """Indices of true (N, 2) and found (M, 2) places that belong together, nearest in sum."""
    if not len(true_mm) or not len(found_mm):
        return []
    distance = np.linalg.norm(true_mm[:, None] - found_mm[None], axis=-1)
    pairs = zip(*linear_sum_assignment(np.minimum(distance, 10 * within_mm)), strict=True)
    return [(int(i), int(j)) for i, j in pairs if distance[i, j] <= within_mm]


def summary(matches: Sequence[Matched]) -> Accuracy:
    """Figures of accuracy over all matched stills."""
    pairs = [pair for matched in matches for pair in matched.pairs]
    distance = np.array([pair.distance_mm for pair in pairs])
    sigmas = np.array([pair.squared_sigmas for pair in pairs])
    stated = sigmas[np.isfinite(sigmas)]
    wrong = [pair for pair in pairs if not pair.name_right]
    missed = [ball for matched in matches for ball in matched.missed]
    invented = [ball for matched in matches for ball in matched.invented]
    cue_wrong = sum("cue" in (pair.truth.id, pair.found.id) for pair in wrong)
    cue_wrong += sum(ball.id == "cue" for ball in missed)
    cue_wrong += sum(ball.id == "cue" for ball in invented)
    return Accuracy(
        stills=len(matches),
        balls=len(pairs) + len(missed),
        missed=len(missed),
        invented=len(invented),
        wrong_names=len(wrong),
        wrong_names_undoubted=sum(not pair.found.doubtful for pair in wrong),
        cue_wrong=cue_wrong,
        doubtful=sum(pair.found.doubtful for pair in pairs),
        median_mm=_percentile(distance, 50),
        p95_mm=_percentile(distance, 95),
        p99_mm=_percentile(distance, 99),
        worst_mm=_percentile(distance, 100),
        coverage_95=float(np.mean(stated <= PLANE_95)) if len(stated) else math.nan,
    )


def _percentile(values: FloatArray, share: float) -> float:
    return float(np.percentile(values, share)) if len(values) else math.nan
