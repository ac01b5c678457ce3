"""Smooth bodies from signed distance fields: rounded cones blended, then naive surface nets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.training.scenes.values import FloatArray, Mesh

FAR_MM = 1e5
FOLD_PEAK = 7 / 4
"""Folds are seven waves over four."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limb:
    """A rounded cone from one place and radius to another; ``flat`` squeezes its height."""

    from_mm: tuple[float, float, float]
    to_mm: tuple[float, float, float]
    from_radius_mm: float
    to_radius_mm: float


def distance_mm(points: FloatArray, limb: Limb) -> FloatArray:
    """Distance (N,) of points (N, 3) from a limb's surface, negative inside (approximate)."""
    a, b = np.asarray(limb.from_mm), np.asarray(limb.to_mm)
    along = b - a
    t = np.clip((points - a) @ along / max(float(along @ along), 1e-9), 0, 1)
    radius = limb.from_radius_mm + t * (limb.to_radius_mm - limb.from_radius_mm)
    return np.asarray(np.linalg.norm(points - a - t[:, None] * along, axis=1) - radius)


def blend(distances: Sequence[FloatArray], soft_mm: float) -> FloatArray:
    """Smooth minimum of distance fields over ``soft_mm``."""
    out = distances[0]
    for other in distances[1:]:
        h = np.clip(0.5 + 0.5 * (out - other) / soft_mm, 0, 1)
        out = out + h * (other - out) - soft_mm * h * (1 - h)
    return out


def body_mesh(limbs: Sequence[Limb], *, step_mm: float, soft_mm: float, ripple_mm: float = 0.0,
              seed: int = 0) -> Mesh:  # fmt: skip
    """The blended limbs as a mesh; ``ripple_mm`` folds the surface like cloth."""
    ends = np.array([p for limb in limbs for p in (limb.from_mm, limb.to_mm)])
    radii = np.array([r for limb in limbs for r in (limb.from_radius_mm, limb.to_radius_mm)])
    low = (ends - radii[:, None]).min(axis=0) - 3 * step_mm - soft_mm / 4
    high = (ends + radii[:, None]).max(axis=0) + 3 * step_mm + soft_mm / 4
    axes = [np.arange(a, b, step_mm) for a, b in zip(low, high, strict=True)]
    # a limb's field counts only where it can reach the surface: the rest stays far
    reach = soft_mm + 4 * step_mm + FOLD_PEAK * ripple_mm
    field = np.full([len(axis) for axis in axes], FAR_MM)
    for limb in limbs:
        box = _near(limb, axes, reach)
        grid = np.stack(np.meshgrid(*(a[s] for a, s in zip(axes, box, strict=True)),
                                    indexing="ij"), -1)  # fmt: skip
        own = distance_mm(grid.reshape(-1, 3), limb).reshape(grid.shape[:3])
        field[box] = blend([field[box], own], soft_mm)
    if ripple_mm:
        near = np.abs(field) < FOLD_PEAK * ripple_mm + 4 * step_mm
        cells = np.argwhere(near)
        field[near] += ripple_mm * _folds(low + step_mm * cells, seed)
    return surface_net(field, low, step_mm)


def _near(limb: Limb, axes: Sequence[FloatArray], reach_mm: float) -> tuple[slice, ...]:
    """The part of a grid within ``reach_mm`` of a limb's surface, as slices."""
    ends = np.array([limb.from_mm, limb.to_mm])
    radius = max(limb.from_radius_mm, limb.to_radius_mm) + reach_mm
    low, high = ends.min(axis=0) - radius, ends.max(axis=0) + radius
    return tuple(
        slice(int(np.searchsorted(axis, a)), int(np.searchsorted(axis, b)))
        for axis, a, b in zip(axes, low, high, strict=True)
    )


def _folds(points: FloatArray, seed: int) -> FloatArray:
    """A few crossing waves, −1…1."""
    rng = np.random.default_rng(seed)
    out = np.zeros(len(points))
    for _ in range(7):
        wave = rng.normal(0, 1, 3) * 2 * np.pi / rng.uniform(45, 140)
        out += np.sin(points @ wave + rng.uniform(0, 2 * np.pi))
    return out / 4


def surface_net(field: FloatArray, origin_mm: FloatArray, step_mm: float) -> Mesh:
    """Zero surface of a field sampled on a grid (negative inside) as a smooth mesh."""
    inside = field < 0
    cells = tuple(n - 1 for n in field.shape)
    total, count = np.zeros((*cells, 3)), np.zeros(cells)
    for axis in range(3):
        others = [k for k in range(3) if k != axis]
        for da in (0, 1):
            for db in (0, 1):
                low = [slice(None)] * 3
                for k, d in zip(others, (da, db), strict=True):
                    low[k] = slice(d, d + cells[k])
                high = list(low)
                low[axis], high[axis] = slice(0, cells[axis]), slice(1, cells[axis] + 1)
                first, second = field[tuple(low)], field[tuple(high)]
                crossed = (first < 0) != (second < 0)
                with np.errstate(divide="ignore", invalid="ignore"):
                    t = np.where(crossed, first / (first - second), 0.0)
                place = np.zeros((*cells, 3))
                place[..., axis] = t
                place[..., others[0]], place[..., others[1]] = da, db
                total += place * crossed[..., None]
                count += crossed
    used = count > 0
    index = np.full(cells, -1)
    index[used] = np.arange(int(used.sum()))
    corner = np.argwhere(used)
    vertices = origin_mm + step_mm * (corner + total[used] / count[used][:, None])
    faces = np.concatenate([_quads(inside, index, axis) for axis in range(3)])
    return Mesh(vertices_mm=vertices, faces=faces, normals=_normals(vertices, faces))


def _quads(inside: NDArray[np.bool_], index: NDArray[np.int64], axis: int) -> NDArray[np.int64]:
    """Two triangles for every grid edge along ``axis`` that crosses the surface."""
    b, c = [(axis + 1) % 3, (axis + 2) % 3]
    low = [slice(1, -1)] * 3
    high = list(low)
    low[axis], high[axis] = slice(0, -1), slice(1, None)
    first, second = inside[tuple(low)], inside[tuple(high)]
    edges = np.argwhere(first != second)
    outward = first[first != second]
    at = edges + 1
    at[:, axis] -= 1
    corners = []
    for db, dc in ((0, 0), (1, 0), (1, 1), (0, 1)):
        cell = at.copy()
        cell[:, b] -= 1 - db
        cell[:, c] -= 1 - dc
        corners.append(index[tuple(cell.T)])
    p, q, r, s = corners
    forward = np.concatenate([np.stack([p, q, r], 1), np.stack([p, r, s], 1)])
    turn = np.concatenate([outward, outward])
    forward[~turn] = forward[~turn][:, ::-1]
    return forward


def _normals(vertices: FloatArray, faces: NDArray[np.int64]) -> FloatArray:
    """Vertex normals averaged over faces by area."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    out = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(out, faces[:, k], face)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12))
