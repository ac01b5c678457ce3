"""How sure a verdict is: the covariance of every ball carried through the zone's rule.

The layout is varied at fixed, evenly spread normal deviates (a scrambled Sobol set), so the
same reading always gives the same figure. The set is closed under mirroring and quarter turns,
so a mirrored table gives the mirrored answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm, qmc

from vision.layout import Ball

from .geometry import FloatArray
from .membership import belongs
from .zone import LandingZone

SURE = 0.975
"""A verdict is given where the chance of being right is at least this (1.96 σ at one edge)."""
_POWER = 9
_MOST_BALLS = 16


@lru_cache(maxsize=1)
def _deviates() -> FloatArray:
    """Standard normal deviates (N, 16, 2), the cue ball's first."""
    unit = qmc.Sobol(2 * _MOST_BALLS, scramble=True, rng=20240).random_base2(_POWER)
    base = norm.ppf(unit).reshape(-1, _MOST_BALLS, 2)
    turned = base[..., ::-1]
    signs = [np.array([a, b]) for a in (1.0, -1.0) for b in (1.0, -1.0)]
    out = np.concatenate([shape * sign for shape in (base, turned) for sign in signs])
    out.setflags(write=False)
    return np.asarray(out)


def root_mm(cov_mm2: ArrayLike) -> FloatArray:
    """Symmetric square root of a covariance (2, 2); negative eigenvalues count as 0."""
    values, vectors = np.linalg.eigh(np.asarray(cov_mm2, dtype=np.float64))
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


def chance_inside(zone: LandingZone, cue: Ball, balls: Sequence[Ball]) -> float:
    """Probability that the cue ball truly lies in the zone, given all covariances.

    ``balls``: the balls the zone was built on, cue ball left out or in.
    """
    nominal = bool(zone.contains(np.asarray(cue.centre_mm)))
    if zone.is_empty or zone.leave is None:
        places = _varied(cue, 0)
        if zone.is_empty or places is None:
            return float(nominal)
        return float(np.mean(zone.contains(places)))
    leave = zone.leave
    by_name = {ball.id: ball for ball in balls}
    assert leave.intent.next is not None
    order = [cue, *(by_name[name] for name in (leave.intent.next, *leave.other_names))]
    if all(_varied(ball, 0) is None for ball in order):
        return float(nominal)
    count = len(_deviates())
    varied = [
        np.broadcast_to(np.asarray(ball.centre_mm), (count, 2)) if places is None else places
        for ball, places in ((ball, _varied(ball, i)) for i, ball in enumerate(order))
    ]
    others = np.stack(varied[2:], axis=1) if len(varied) > 2 else np.zeros((count, 0, 2))
    inside = belongs(varied[0], leave, object_mm=varied[1], others_mm=others)
    return float(np.mean(inside))


def _varied(ball: Ball, index: int) -> FloatArray | None:
    """The ball's place at every deviate, (N, 2); None where its place is exact."""
    root = root_mm(ball.cov_mm2)
    if not np.any(root):
        return None
    return np.asarray(np.asarray(ball.centre_mm) + _deviates()[:, index] @ root)
