"""Which candidates are balls: fitted in the still, ranked, no two in one place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.table import BALL_DIAMETER_MM

from .detect import Candidates, can_rest
from .evidence import Evidence
from .layout import BALL_IDS
from .leftover import FILLED, coverage, lone_blobs, touching_places
from .refine import COARSE, Fit, Scene, fit

FloatArray = NDArray[np.float64]
VOTES_NEEDED = 0.35
COVER_NEEDED = 0.4
SUM_NEEDED = 0.8
SHOWN_NEEDED = 0.15
HEMMED_SUPPORT = 0.1
"""Support that what little outline shows between other balls must give."""
FARTHEST_MM = 8.0
MOST_ROUNDS = 3
"""Rounds of filling a cluster: each can touch the balls of the last."""
LEFTOVER_SCORE = 0.7
OVERLAP = 0.88
"""Coarse fits of touching balls come this near to each other, in diameters."""


def choose(scene: Scene, candidates: Candidates, evidence: Evidence) -> Fit:
    """Fit candidates coarsely, then keep the best set of balls that do not overlap.

    What found no room gets a second fit that leaves out the outline beside the balls kept so
    far; then places are tried that the candidates left unexplained. At most 16, the best.
    """
    start = candidates.centre_mm
    first = fit(scene, start, COARSE)
    rank = _ranked(scene, first, candidates.score, evidence)
    kept = _thinned(first, rank, np.zeros((0, 2)))
    chosen, scores = first.taken(kept), rank[kept]
    left = _clear_of(start, chosen.centre_mm, 0.7 * BALL_DIAMETER_MM)
    if left.any():
        around = np.concatenate([chosen.centre_mm, start[left]])
        second = fit(scene, start[left], COARSE, neighbours_mm=around)
        rank = _ranked(scene, second, candidates.score[left], evidence)
        more = _thinned(second, rank, chosen.centre_mm)
        chosen, scores = chosen.joined(second.taken(more)), np.concatenate([scores, rank[more]])
    for _ in range(MOST_ROUNDS):
        more_fit = _overlooked(scene, chosen, evidence)
        if len(more_fit.centre_mm) == 0:
            break
        chosen = chosen.joined(more_fit)
        scores = np.concatenate([scores, np.full(len(more_fit.centre_mm), LEFTOVER_SCORE)])
    best = np.argsort(-scores)[: len(BALL_IDS)]
    return chosen.taken([int(k) for k in best])


def _overlooked(scene: Scene, chosen: Fit, evidence: Evidence) -> Fit:
    """Balls at places that are filled like a ball's and that no chosen ball explains."""
    lone = lone_blobs(scene.camera, chosen.centre_mm, evidence)
    touching = touching_places(scene.camera, chosen.centre_mm, evidence)
    places = np.concatenate([lone, touching])
    if len(places) == 0:
        return chosen.taken([])
    found = fit(scene, places, COARSE, neighbours_mm=chosen.centre_mm)
    cover = coverage(scene.camera, found.centre_mm, evidence.unlike, evidence.view)
    moved = np.linalg.norm(found.centre_mm - places, axis=1)
    good = (cover >= FILLED) & (moved < FARTHEST_MM) & can_rest(scene.table, found.centre_mm)
    surely = np.arange(len(places)) < len(lone)
    good &= surely | ((found.support > HEMMED_SUPPORT) & (found.shown > 0))
    rank = np.where(good, found.support + 2.0 * surely, -2.0)
    return found.taken(_thinned(found, np.where(good, rank + 1.0, -1.0), chosen.centre_mm))


def _ranked(scene: Scene, found: Fit, votes: FloatArray, evidence: Evidence) -> FloatArray:
    """Score of each fit (K,); −1 where it is no ball."""
    cover = coverage(scene.camera, found.centre_mm, evidence.unlike, evidence.view)
    score = np.minimum(votes, 1.0) + 0.5 * found.support + 0.5 * cover
    good = (votes > VOTES_NEEDED) & (cover > COVER_NEEDED) & (score > SUM_NEEDED)
    good &= (found.shown > SHOWN_NEEDED) & can_rest(scene.table, found.centre_mm)
    return np.where(good, score, -1.0)


def _thinned(found: Fit, score: FloatArray, taken_mm: FloatArray) -> list[int]:
    """Indices of the best fits that overlap neither each other nor the balls taken already."""
    kept: list[int] = []
    for k in np.argsort(-score):
        if score[k] < 0:
            break
        others = np.concatenate([found.centre_mm[kept], taken_mm])
        if _clear_of(found.centre_mm[k : k + 1], others, OVERLAP * BALL_DIAMETER_MM)[0]:
            kept.append(int(k))
    return kept


def _clear_of(
    points_mm: FloatArray, others_mm: FloatArray, distance_mm: float
) -> NDArray[np.bool_]:
    """Whether points (N, 2) are at least that far from all others (M, 2)."""
    apart = np.linalg.norm(points_mm[:, None] - others_mm[None], axis=-1)
    return np.asarray((apart >= distance_mm).all(axis=1))
