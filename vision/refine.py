"""A ball's centre to sub-pixel: two unknowns fitted to its outline in the original still.

The cost curves of all rays (``profile``) are added over the shift of the centre; a small common
growth of the outline, with a prior, takes up blur and sharpening. The curvature at the minimum
gives the covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import Table

from .cloth import Cloth, Float32
from .profile import Span, bases_of, clear_px, curves, rays_of, region_cost, sample

FloatArray = NDArray[np.float64]
GROWTH_PX = 0.0
"""Usual difference between apparent and predicted outline radius."""
GROWTH_SIGMA_PX = 0.2
COV_SCALE = 6.0
"""Stated over formal covariance: rays are not independent of each other."""
COV_FLOOR_PX2 = 0.115**2
LEAST_CLEAR_PX = 1.5
"""A ray that sees less cloth than this before a neighbour says little."""
HEMMED_WEIGHT = 0.05
"""Weight of such a ray: enough to hold a ball that others surround, by the crevices between."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Fitted centres of K balls."""

    centre_mm: FloatArray
    """(K, 2), table frame."""
    cov_px2: FloatArray
    """(K, 2, 2), still."""
    support: FloatArray
    """(K,), −1 … 1: how well the rays show a ball's end there, hidden rays left out."""
    shown: FloatArray
    """(K,), share of the outline that is free of cushions and neighbours."""

    def taken(self, index: Sequence[int]) -> Fit:
        """The fits of those indices."""
        which = np.asarray(index, dtype=int)
        return Fit(**{part.name: getattr(self, part.name)[which] for part in fields(self)})

    def joined(self, other: Fit) -> Fit:
        """These fits, then the other's."""
        return Fit(
            **{
                part.name: np.concatenate([getattr(self, part.name), getattr(other, part.name)])
                for part in fields(self)
            }
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What every fit in one still needs."""

    tone: Float32
    """The still's tone values, (H, W, 3) BGR."""
    cloth: Cloth
    camera: Camera
    table: Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """One pass of the fit: rays, their span, and shrinking steps of the centre in mm."""

    rays: int
    inside: float
    """Depth of the profiles in outline radii."""
    outside: float
    reach_px: float
    offset_step_px: float
    steps_mm: tuple[float, ...]
    half: int
    """Steps to each side."""


COARSE = Search(
    rays=48, inside=0.25, outside=0.28, reach_px=4.0, offset_step_px=0.5,
    steps_mm=(1.5, 0.6), half=4,
)  # fmt: skip
FINE = Search(
    rays=80, inside=0.2, outside=0.28, reach_px=2.5, offset_step_px=0.125,
    steps_mm=(0.6, 0.2, 0.06), half=4,
)  # fmt: skip
FINEST = replace(FINE, inside=0.13, reach_px=1.5, steps_mm=(0.4, 0.15, 0.05))
"""Near the outline only, so that stripes and discs inside say nothing."""


def fit(
    scene: Scene,
    centres_mm: FloatArray,
    search: Search,
    *,
    neighbours_mm: FloatArray | None = None,
) -> Fit:
    """Fit centres (K, 2) mm, each started where given.

    ``neighbours_mm`` (M, 2) are balls whose outlines hide or touch others' (a ball does not
    hinder itself); none are heeded when it is left out.
    """
    if len(centres_mm) == 0:
        empty = np.zeros(0)
        return Fit(
            centre_mm=np.zeros((0, 2)), cov_px2=np.zeros((0, 2, 2)), support=empty, shown=empty,
        )  # fmt: skip
    rays = rays_of(scene.camera, scene.table, centres_mm, search.rays)
    radius = float(np.round(np.median(rays.radius_px)))
    span = Span(
        inside_px=round(2 * search.inside * radius) / 2,
        outside_px=round(2 * search.outside * radius) / 2,
        reach_px=search.reach_px,
        offset_step_px=search.offset_step_px,
    )
    clear = np.full(rays.shown.shape, span.outside_px)
    if neighbours_mm is not None:
        clear = clear_px(scene.camera, rays, span, centres_mm, neighbours_mm)
    profiles = sample(
        scene.tone, scene.cloth, scene.camera, rays, span, np.maximum(clear, LEAST_CLEAR_PX)
    )
    cost, without = curves(profiles, bases_of(span, radius), span)
    region = region_cost(profiles, scene.cloth.light_sigma, span) * rays.on_bed[..., None]
    weight = np.where(clear >= LEAST_CLEAR_PX, 1.0, HEMMED_WEIGHT) * rays.shown
    jacobian = scene.camera.jacobian(centres_mm)
    slopes = np.einsum("kni,kij->knj", rays.normal, jacobian)
    curve = _Curves(
        cost=_levelled(cost + region, weight),
        weight=weight,
        slopes=slopes,
        offsets_px=span.offsets_px,
    )
    state = _minimise(curve, search)
    cov_px2 = _covariance(curve, state, jacobian)
    return Fit(
        centre_mm=centres_mm + state[:, :2],
        cov_px2=cov_px2,
        support=_support(replace(curve, cost=cost), state, without),
        shown=(weight > HEMMED_WEIGHT).mean(axis=1),
    )


LEVEL = 2.0
"""Times the median depth of a ball's curves beyond which a deep one is bent down."""


def _levelled(cost: FloatArray, weight: FloatArray) -> FloatArray:
    """Curves (K, N, T) with the deepest bent, so that no few rays outvote the others.

    On a ball of nearly the cloth's colour the edge of a number disc is the strongest edge.
    """
    least = cost.min(axis=2, keepdims=True)
    depth = np.where(weight > HEMMED_WEIGHT, cost.max(axis=2) - least[..., 0], np.nan)
    seen = np.isfinite(depth).any(axis=1)
    usual = np.full(len(cost), 1e9)
    usual[seen] = np.nanmedian(depth[seen], axis=1)
    cap = np.maximum(LEVEL * usual, 3.0)[:, None, None]
    return np.asarray(-cap * np.expm1((least - cost) / cap), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Curves:
    cost: FloatArray
    weight: FloatArray
    slopes: FloatArray
    """Shift of the outline along each ray per mm of the centre, (K, N, 2)."""
    offsets_px: FloatArray

    def total(self, state: FloatArray) -> FloatArray:
        """Cost (K, G) of G states (K, G, 3): shift x, y in mm and growth in px."""
        offset = np.einsum("knj,kgj->kng", self.slopes, state[..., :2]) + state[:, None, :, 2]
        value = self._at(offset)
        prior = 0.5 * ((state[..., 2] - GROWTH_PX) / GROWTH_SIGMA_PX) ** 2
        return np.einsum("kn,kng->kg", self.weight, value) + prior

    def _at(self, offset_px: FloatArray) -> FloatArray:
        """Curves (K, N, T) read at offsets (K, N, G), linear between, held beyond the ends."""
        step = self.offsets_px[1] - self.offsets_px[0]
        last = len(self.offsets_px) - 1
        place = np.clip((offset_px - self.offsets_px[0]) / step, 0, last - 1e-9)
        low = place.astype(np.intp)
        part = place - low
        below = np.take_along_axis(self.cost, low, axis=2)
        above = np.take_along_axis(self.cost, low + 1, axis=2)
        return below + part * (above - below)


def _minimise(curve: _Curves, search: Search) -> FloatArray:
    """States (K, 3) of least cost by grids of shrinking steps."""
    count = curve.cost.shape[0]
    state = np.zeros((count, 3))
    state[:, 2] = GROWTH_PX
    side = np.arange(-search.half, search.half + 1)
    for number, step in enumerate(search.steps_mm):
        growth = np.array([0.0]) if number == 0 else np.array([-1, 0, 1]) * 0.6 * step
        moves = np.stack(np.meshgrid(side * step, side * step, growth, indexing="ij"), axis=-1)
        trial = state[:, None] + moves.reshape(-1, 3)
        best = np.argmin(curve.total(trial), axis=1)
        state = trial[np.arange(count), best]
    return state


def _covariance(curve: _Curves, state: FloatArray, jacobian: FloatArray) -> FloatArray:
    """Covariance (K, 2, 2) in px² from the curvature of the cost about the minimum."""
    step = np.array([0.4, 0.4, 0.2])
    units = np.eye(3) * step
    moves = [np.zeros(3)]
    pairs = [(i, j) for i in range(3) for j in range(i, 3)]
    for i, j in pairs:
        for a, b in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
            moves.append(a * units[i] + b * units[j] if i != j else a * units[i] * (a == b))
    value = curve.total(state[:, None] + np.array(moves))
    hessian = np.zeros((len(state), 3, 3))
    for number, (i, j) in enumerate(pairs):
        v = value[:, 1 + 4 * number : 5 + 4 * number]
        if i == j:
            second = (v[:, 0] + v[:, 3] - 2 * value[:, 0]) / step[i] ** 2
        else:
            second = (v[:, 0] - v[:, 1] - v[:, 2] + v[:, 3]) / (4 * step[i] * step[j])
        hessian[:, i, j] = hessian[:, j, i] = second
    values, vectors = np.linalg.eigh(hessian)
    inverse = np.einsum("kij,kj,klj->kil", vectors, 1 / np.maximum(values, 0.05), vectors)
    carried = jacobian @ inverse[:, :2, :2] @ np.swapaxes(jacobian, 1, 2)
    return np.asarray(COV_SCALE * carried + COV_FLOOR_PX2 * np.eye(2), dtype=float)


def _support(curve: _Curves, state: FloatArray, without: FloatArray) -> FloatArray:
    """Mean gain of a ball's end over none at the fitted outline, squashed to −1 … 1 a ray."""
    offset = np.einsum("knj,kj->kn", curve.slopes, state[:, :2]) + state[:, None, 2]
    spread = offset[..., None] + np.array([-0.7, 0.0, 0.7])
    value = curve._at(spread).min(axis=2)
    gain = np.tanh((without - value - _GAIN_NEEDED) / _GAIN_SCALE)
    total = curve.weight.sum(axis=1)
    return np.asarray((gain * curve.weight).sum(axis=1) / np.maximum(total, 1), dtype=float)


_GAIN_NEEDED = 1.0
"""Gain that the change point's extra freedom brings on bare cloth."""
_GAIN_SCALE = 2.0
