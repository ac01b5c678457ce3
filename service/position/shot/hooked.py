"""Is the next ball hidden behind others: exact, by angular intervals seen from the cue ball."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, PointMm

SLIVER_RAD = 1e-9
"""Intervals narrower than this are rounding, not directions."""


def visible_share(cue_mm: PointMm, object_mm: PointMm, others_mm: Sequence[PointMm]) -> float:
    """Share (0 … 1) of the directions that would touch the object ball and meet it first."""
    return float(visible_shares(np.asarray(cue_mm)[None, :], object_mm, others_mm)[0])


def visible_shares(
    cue_mm: ArrayLike, object_mm: PointMm, others_mm: Sequence[PointMm]
) -> FloatArray:
    """``visible_share`` from many places (N, 2).

    Between the directions at which the ball met first can change, one direction stands for all.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    there = np.asarray(object_mm, dtype=np.float64) - cue
    ways = np.asarray(others_mm, dtype=np.float64).reshape(-1, 2) - cue[:, None, :]
    half = _half_width(np.hypot(there[:, 0], there[:, 1]))[:, None]
    ways = _between(there, ways, half)
    bearing = np.arctan2(there[:, 1], there[:, 0])[:, None]
    bounds = np.clip(_bounds(there, ways, bearing), -half, half)
    edges = np.sort(np.concatenate([bounds, -half, half], axis=1), axis=1)
    widths = np.diff(edges, axis=1)
    directions = edges[:, :-1] + widths / 2 + bearing
    travel = _travel_mm(there[:, None, :], directions)[:, 0]
    first = _travel_mm(ways, directions).min(axis=1, initial=math.inf)
    widths = np.where(widths > SLIVER_RAD, widths, 0.0)
    total = widths.sum(axis=1)
    clear = np.where(first >= travel, widths, 0.0).sum(axis=1)
    return np.where(total > 0, np.minimum(clear / np.where(total > 0, total, 1.0), 1.0), 1.0)


def hooked(cue_mm: PointMm, object_mm: PointMm, others_mm: Sequence[PointMm]) -> str:
    """``no``, ``partly`` or ``yes``.

    The cue ball is rolled along every direction that would touch the object ball: ``no`` where
    none meets another ball first, ``yes`` where all do. Cushions hide nothing.
    """
    return hooked_word(visible_share(cue_mm, object_mm, others_mm))


def hooked_word(share: float) -> str:
    """The word for a visible share."""
    if share >= 1.0 - SLIVER_RAD:
        return "no"
    return "yes" if share <= SLIVER_RAD else "partly"


def _between(there: FloatArray, ways: FloatArray, half: FloatArray) -> FloatArray:
    """Without the balls that can hide nothing from any of the places."""
    size = np.hypot(ways[..., 0], ways[..., 1])
    turn = np.arctan2(
        there[:, None, 0] * ways[..., 1] - there[:, None, 1] * ways[..., 0],
        there[:, None, 0] * ways[..., 0] + there[:, None, 1] * ways[..., 1],
    )
    near = np.hypot(there[:, 0], there[:, 1])[:, None] + BALL_DIAMETER_MM
    matter = (np.abs(turn) < half + _half_width(size) + SLIVER_RAD) & (size < near)
    return np.asarray(ways[:, matter.any(axis=0)])


def _half_width(distance_mm: FloatArray) -> FloatArray:
    return np.arcsin(BALL_DIAMETER_MM / np.maximum(distance_mm, BALL_DIAMETER_MM))


def _bounds(there: FloatArray, ways: FloatArray, bearing: FloatArray) -> FloatArray:
    """Directions (N, 4 M), relative to the object ball's bearing, at which that can change.

    These are the grazing directions of every other ball and the directions to places that touch
    both that ball and the object ball.
    """
    other = np.arctan2(ways[..., 1], ways[..., 0])
    half = _half_width(np.hypot(ways[..., 0], ways[..., 1]))
    gap = ways - there[:, None, :]
    apart = np.hypot(gap[..., 0], gap[..., 1])
    touching = (apart > 0) & (apart < 2 * BALL_DIAMETER_MM)
    safe = np.where(touching, apart, BALL_DIAMETER_MM)
    rise = np.sqrt(BALL_DIAMETER_MM**2 - (safe / 2) ** 2) / safe
    middle = there[:, None, :] + gap / 2
    angles = [other - half, other + half]
    for sign in (-1.0, 1.0):
        x = middle[..., 0] - sign * rise * gap[..., 1]
        y = middle[..., 1] + sign * rise * gap[..., 0]
        angles.append(np.where(touching, np.arctan2(y, x), bearing))
    relative = np.concatenate(angles, axis=1) - bearing
    return np.asarray(np.remainder(relative + math.pi, 2 * math.pi) - math.pi)


def _travel_mm(ways: FloatArray, directions_rad: FloatArray) -> FloatArray:
    """How far the cue ball rolls along each direction until it touches each ball, (N, M, E).

    Infinite where it passes; 0 for a ball it touches already and is sent towards.
    """
    cosine, sine = np.cos(directions_rad)[:, None, :], np.sin(directions_rad)[:, None, :]
    x, y = ways[..., 0, None], ways[..., 1, None]
    along, across = x * cosine + y * sine, y * cosine - x * sine
    under = BALL_DIAMETER_MM**2 - across**2
    travel = along - np.sqrt(np.maximum(under, 0.0))
    return np.where((under > 0) & (along > 0), np.maximum(travel, 0.0), math.inf)
