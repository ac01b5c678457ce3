"""Plane geometry on arrays of points; all lengths mm, table frame, last axis (x, y)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import FloatArray


def cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """z of the cross product over the last axis, (..., 2) × (..., 2) → (...)."""
    return np.asarray(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])


def dot(first: FloatArray, second: FloatArray) -> FloatArray:
    """Dot product over the last axis, (..., 2) · (..., 2) → (...)."""
    return np.asarray(first[..., 0] * second[..., 0] + first[..., 1] * second[..., 1])


def length(vector: FloatArray) -> FloatArray:
    """Euclidean length over the last axis."""
    return np.asarray(np.hypot(vector[..., 0], vector[..., 1]))


def unit(vector: ArrayLike) -> FloatArray:
    """Unit vectors; a zero vector stays zero, so that callers decide what it means."""
    vector = np.asarray(vector, dtype=np.float64)
    size = length(vector)[..., None]
    return np.divide(vector, size, out=np.zeros_like(vector), where=size > 0)


def left_of(direction: FloatArray) -> FloatArray:
    """The direction turned a quarter to the left."""
    return np.stack([-direction[..., 1], direction[..., 0]], axis=-1)


def polar(origin_mm: ArrayLike, angle_rad: ArrayLike, radius_mm: ArrayLike) -> FloatArray:
    """Points at these angles and radii around ``origin_mm``, (N, 2)."""
    angle, radius = np.broadcast_arrays(
        np.asarray(angle_rad, dtype=np.float64), np.asarray(radius_mm, dtype=np.float64)
    )
    ray = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    return np.asarray(np.asarray(origin_mm, dtype=np.float64) + ray * radius[..., None])


def nearest_on_segment(
    point_mm: FloatArray, start_mm: FloatArray, end_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Share t (0 … 1) of the way from start to end nearest to the point, and the distance."""
    way = end_mm - start_mm
    square = dot(way, way)
    share = dot(point_mm - start_mm, way) / np.where(square > 0, square, 1.0)
    share = np.clip(np.where(square > 0, share, 0.0), 0.0, 1.0)
    return share, length(point_mm - (start_mm + share[..., None] * way))
