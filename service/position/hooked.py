"""Is the next ball hidden behind others: exact, by angular intervals seen from the cue ball."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from calibration.table import BALL_DIAMETER_MM, PointMm

from .geometry import FloatArray, length

SLIVER_RAD = 1e-9
"""Intervals narrower than this are rounding, not directions."""


def visible_share(cue_mm: PointMm, object_mm: PointMm, others_mm: Sequence[PointMm]) -> float:
    """Share (0 … 1) of the directions that would touch the object ball and meet it first."""
    there = np.asarray(object_mm, dtype=np.float64) - np.asarray(cue_mm, dtype=np.float64)
    ways = np.asarray(others_mm, dtype=np.float64).reshape(-1, 2) - np.asarray(cue_mm)
    bearing = math.atan2(there[1], there[0])
    half = _half_width(float(length(there)))
    bounds = np.clip(_bounds(there, ways, bearing), -half, half)
    edges = np.unique(np.concatenate([bounds, [-half, half]]))
    widths = np.diff(edges)
    directions = edges[:-1] + widths / 2 + bearing
    keep = widths > SLIVER_RAD
    widths, directions = widths[keep], directions[keep]
    travel = _travel_mm(there[None, :], directions)[0]
    first = _travel_mm(ways, directions).min(axis=0, initial=math.inf)
    clear = float(widths[first >= travel].sum())
    total = float(widths.sum())
    return min(clear / total, 1.0) if total > 0 else 1.0


def hooked(cue_mm: PointMm, object_mm: PointMm, others_mm: Sequence[PointMm]) -> str:
    """``no``, ``partly`` or ``yes``.

    The cue ball is rolled along every direction that would touch the object ball: ``no`` where
    none meets another ball first, ``yes`` where all do. Cushions hide nothing.
    """
    share = visible_share(cue_mm, object_mm, others_mm)
    if share >= 1.0 - SLIVER_RAD:
        return "no"
    return "yes" if share <= SLIVER_RAD else "partly"


def _half_width(distance_mm: float) -> float:
    return math.asin(min(1.0, BALL_DIAMETER_MM / max(distance_mm, BALL_DIAMETER_MM)))


def _bounds(there: FloatArray, ways: FloatArray, bearing: float) -> FloatArray:
    """Directions, relative to the object ball's bearing, at which the ball met first can change.

    These are the grazing directions of every other ball and the directions to places that touch
    both that ball and the object ball.
    """
    angles: list[float] = []
    for way in ways:
        other = math.atan2(way[1], way[0])
        half = _half_width(float(length(way)))
        angles += [other - half, other + half]
        gap = way - there
        apart = float(length(gap))
        if 0 < apart < 2 * BALL_DIAMETER_MM:
            rise = math.sqrt(BALL_DIAMETER_MM**2 - (apart / 2) ** 2) / apart
            middle = there + gap / 2
            for sign in (-1.0, 1.0):
                x = middle[0] - sign * rise * gap[1]
                y = middle[1] + sign * rise * gap[0]
                angles.append(math.atan2(y, x))
    relative = np.asarray(angles, dtype=np.float64) - bearing
    return np.asarray(np.remainder(relative + math.pi, 2 * math.pi) - math.pi)


def _travel_mm(ways: FloatArray, directions_rad: ArrayLike) -> FloatArray:
    """How far the cue ball rolls along each direction until it touches each ball, (M, N).

    Infinite where it passes; 0 for a ball it touches already and is sent towards.
    """
    angles = np.asarray(directions_rad, dtype=np.float64)
    along = ways[:, :1] * np.cos(angles) + ways[:, 1:] * np.sin(angles)
    across = ways[:, 1:] * np.cos(angles) - ways[:, :1] * np.sin(angles)
    under = BALL_DIAMETER_MM**2 - across**2
    travel = along - np.sqrt(np.maximum(under, 0.0))
    return np.where((under > 0) & (along > 0), np.maximum(travel, 0.0), math.inf)
