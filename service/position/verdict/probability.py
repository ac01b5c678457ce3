"""How sure a verdict is: the covariance of every ball carried through the zone's rule.

The layout is varied at fixed, evenly spread normal deviates (a scrambled Sobol set), so the
same reading always gives the same figure. The set is closed under mirroring and quarter turns,
so a mirrored table gives the mirrored answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm, qmc

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM
from service.position.geometry import nearest_on_segment
from service.position.shot.cut import ghost_ball_mm
from service.position.zone.landing import LandingZone
from service.position.zone.membership import Leave, belongs
from vision.layout import Ball

SURE = 0.975
"""A verdict is given where the chance of being right is at least this (1.96 σ at one edge)."""
SLACK_MM = 1e-3
"""Against rounding, where balls too far off to matter are left out."""
_POWER = 9
_MOST_BALLS = 16


@lru_cache(maxsize=1)
def _deviates() -> FloatArray:
    """Standard normal deviates (16, N, 2), the cue ball's first."""
    unit = qmc.Sobol(2 * _MOST_BALLS, scramble=True, rng=20240).random_base2(_POWER)
    base = norm.ppf(unit).reshape(-1, _MOST_BALLS, 2)
    turned = base[..., ::-1]
    signs = [np.array([a, b]) for a in (1.0, -1.0) for b in (1.0, -1.0)]
    out = np.concatenate([shape * sign for shape in (base, turned) for sign in signs])
    out = np.ascontiguousarray(out.transpose(1, 0, 2))
    out.setflags(write=False)
    return np.asarray(out)


@lru_cache(maxsize=1)
def _largest() -> FloatArray:
    """The longest deviate of each ball, (16,)."""
    deviates = _deviates()
    return np.asarray(np.hypot(deviates[..., 0], deviates[..., 1]).max(axis=1))


def root_mm(cov_mm2: ArrayLike) -> FloatArray:
    """Symmetric square root of a covariance (2, 2); negative eigenvalues count as 0.

    (C + √det·1) / √(trace + 2 √det) where the eigenvalues are 0 or more.
    """
    (a, b), (c, d) = np.asarray(cov_mm2, dtype=np.float64).tolist()
    det = a * d - b * c
    if a < 0 or d < 0 or det < 0:
        values, vectors = np.linalg.eigh(np.asarray(cov_mm2, dtype=np.float64))
        return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)
    middle = math.sqrt(det)
    size = math.sqrt(a + d + 2 * middle)
    if size == 0:
        return np.zeros((2, 2))
    return np.array([[a + middle, b], [c, d + middle]]) / size


def chance_inside(zone: LandingZone, cue: Ball, balls: Sequence[Ball]) -> float:
    """Probability that the cue ball truly lies in the zone, given all covariances.

    ``balls``: the balls the zone was built on, cue ball left out or in.
    """
    if zone.is_empty:
        return 0.0
    leaves = [part.leave for part in zone.parts] or [zone.leave]
    varied = _Varied.of(cue, balls)
    inside = np.zeros(1, dtype=np.bool_)
    for leave in leaves:
        places = varied.places_mm("cue")
        if leave is None:
            inside = inside | zone.contains(places)
            continue
        assert leave.ball is not None
        kept = _may_matter(leave, cue, varied)
        others = [varied.places_mm(name) for name in kept]
        inside = inside | belongs(
            places,
            leave,
            object_mm=varied.places_mm(leave.ball),
            others_mm=np.stack(np.broadcast_arrays(*others), axis=-2)
            if others
            else np.zeros((1, 0, 2)),
        )
    return float(np.mean(inside))


@dataclass(frozen=True, slots=True)
class _Varied:
    """Every ball's place at every deviate; the cue ball has the deviates' first column."""

    balls: dict[str, Ball]
    column: dict[str, int]

    @classmethod
    def of(cls, cue: Ball, balls: Sequence[Ball]) -> _Varied:
        others = [ball for ball in balls if ball.id != "cue"]
        everyone = {"cue": cue} | {ball.id: ball for ball in others}
        return cls(everyone, {name: i for i, name in enumerate(everyone)})

    def places_mm(self, name: str) -> FloatArray:
        """(N, 2), or (1, 2) where the place is exact."""
        ball = self.balls[name]
        root = root_mm(ball.cov_mm2)
        if not np.any(root):
            return np.asarray([ball.centre_mm])
        return np.asarray(_deviates()[self.column[name]] @ root + np.asarray(ball.centre_mm))

    def farthest_mm(self, name: str) -> float:
        """No deviate moves the ball farther than this."""
        (a, b), (c, d) = self.balls[name].cov_mm2
        if a == 0 and d == 0:
            return 0.0
        largest = (a + d) / 2 + float(np.hypot((a - d) / 2, (b + c) / 2))
        return _largest()[self.column[name]] * float(np.sqrt(max(largest, 0.0)))


def _may_matter(leave: Leave, cue: Ball, varied: _Varied) -> list[str]:
    """Names of the balls that some deviate could bring into the way, or behind the cue ball.

    All others are so far off that leaving them out changes no single varied layout.
    """
    if not leave.others_mm:
        return []
    start, target = np.asarray(cue.centre_mm), np.asarray(leave.object_mm)
    aim, others = np.asarray(leave.aim_mm), np.asarray(leave.others_mm)
    ghost = ghost_ball_mm(target, aim)
    cue_moves, target_moves = varied.farthest_mm("cue"), varied.farthest_mm(leave.ball)
    apart = max(float(np.hypot(*(aim - target))) - target_moves, 1e-9)
    ghost_moves = target_moves * (1 + BALL_DIAMETER_MM / apart)
    moves = np.array([varied.farthest_mm(name) for name in leave.other_names])
    _, way = nearest_on_segment(others, start, ghost)
    _, pot = nearest_on_segment(others, target, aim)
    near = way - BALL_DIAMETER_MM <= moves + max(cue_moves, ghost_moves) + SLACK_MM
    near |= pot - BALL_DIAMETER_MM <= moves + target_moves + SLACK_MM
    if leave.intent.over_ball != "any":
        near |= _may_be_cued_over(leave, start, ghost, moves + cue_moves, cue_moves + ghost_moves)
    return [name for name, is_near in zip(leave.other_names, near, strict=True) if is_near]


def _may_be_cued_over(
    leave: Leave, start: FloatArray, ghost: FloatArray, moves: FloatArray, turns_mm: float
) -> BoolArray:
    """Whether the cue, turned by as much as the deviates allow, may meet a ball behind."""
    ways = np.asarray(leave.others_mm) - start
    back = start - ghost
    size = float(np.hypot(*back))
    turn = turns_mm / max(size - turns_mm, 1e-9)
    bound = moves + min(turn, 2.0) * np.hypot(ways[:, 0], ways[:, 1]) + SLACK_MM
    back = back / max(size, 1e-9)
    behind, beside = ways @ back, back[0] * ways[:, 1] - back[1] * ways[:, 0]
    steep = math.sin(math.radians(leave.player.elevation_limit_deg))
    off = np.hypot(np.maximum(behind, 0.0) * steep, beside)
    clear = BALL_RADIUS_MM + leave.player.shaft_radius_mm
    return np.asarray((behind > -bound) & (off - bound < clear))
