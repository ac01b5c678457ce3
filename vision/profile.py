"""Brightness and colour along rays across a ball's outline, and where along each the ball ends.

For each ray a change point is scored: inside a sphere's limb of free colour, outside cloth of
the known chromaticity under any light that varies gently (so a contact shadow is still cloth),
with a blurred step between. The score is a curve over the offset, not a pick: curves of all rays
are added up by whoever fits a centre, and a misleading edge in one ray cannot win alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, Table

from .cloth import Cloth, Float32, opponent

FloatArray = NDArray[np.float64]
STEP_PX = 0.5
"""Spacing of samples along a ray."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """How far a ray is sampled and which offsets of the ball's end are tried, px."""

    inside_px: float
    outside_px: float
    reach_px: float
    offset_step_px: float
    blur_px: float = 0.8
    chroma_blur_px: float = 1.25
    """JPEG halves the colour's resolution."""

    @property
    def samples_px(self) -> FloatArray:
        """Places of the samples, 0 = predicted outline, outward positive, (S,)."""
        count = round((self.inside_px + self.outside_px) / STEP_PX) + 1
        return np.asarray(-self.inside_px + STEP_PX * np.arange(count), dtype=float)

    @property
    def offsets_px(self) -> FloatArray:
        """Offsets of the ball's end that are tried, (T,)."""
        half = round(self.reach_px / self.offset_step_px)
        return np.asarray(self.offset_step_px * np.arange(-half, half + 1), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rays:
    """Predicted outlines of K balls with N rays each, in the still."""

    outline_px: FloatArray
    """(K, N, 2)."""
    normal: FloatArray
    """Outward unit normals, (K, N, 2)."""
    radius_px: FloatArray
    """Mean outline radius, (K,)."""
    shown: NDArray[np.bool_]
    """Whether the outline there is free of cushions, (K, N)."""


def rays_of(camera: Camera, table: Table, centres_mm: FloatArray, rays: int) -> Rays:
    """Rays square to the outlines of balls at (K, 2) mm."""
    outline = np.stack(
        [camera.ball_outline((float(x), float(y)), samples=rays) for x, y in centres_mm]
    )
    tangent = np.roll(outline, -1, axis=1) - np.roll(outline, 1, axis=1)
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    spoke = outline - outline.mean(axis=1, keepdims=True)
    normal *= np.sign((normal * spoke).sum(axis=-1).mean(axis=1))[:, None, None]
    shown = ~_behind_cushion(camera, table, centres_mm, outline)
    radius = np.linalg.norm(spoke, axis=-1).mean(axis=1)
    return Rays(outline_px=outline, normal=normal, radius_px=radius, shown=shown)


def _behind_cushion(
    camera: Camera, table: Table, centres_mm: FloatArray, outline_px: FloatArray
) -> NDArray[np.bool_]:
    """Whether the view to each grazing point passes through a cushion, or nearly so."""
    count, rays = outline_px.shape[:2]
    length, width = table.surface_mm
    near = (np.minimum(centres_mm, [length, width] - centres_mm) < 1.2 * BALL_DIAMETER_MM).any(1)
    out = np.zeros((count, rays), dtype=bool)
    if not near.any():
        return out
    eye = camera.position_mm
    view = camera.rays(outline_px[near].reshape(-1, 2)).reshape(-1, rays, 3)
    centre = np.column_stack([centres_mm[near], np.full(near.sum(), BALL_DIAMETER_MM / 2)])
    along = ((centre - eye)[:, None] * view).sum(axis=-1)
    grazing_z = eye[2] + along * view[..., 2]
    reach = (table.nose_height_mm - eye[2]) / view[..., 2]
    at = eye[:2] + reach[..., None] * view[..., :2]
    covered = inside_cushion(table, at.reshape(-1, 2), slack_mm=1.5).reshape(-1, rays)
    out[near] = covered & (grazing_z < table.nose_height_mm)
    return out


def inside_cushion(
    table: Table, points_mm: FloatArray, *, slack_mm: float = 0.0
) -> NDArray[np.bool_]:
    """Whether points (N, 2) lie behind a nose line, beside the pockets' facings.

    ``slack_mm`` moves the nose lines that far into the bed.
    """
    out = np.zeros(len(points_mm), dtype=bool)
    length, width = table.surface_mm
    corner = 1 / np.tan(np.radians(180 - table.corner_cut_deg))
    side = 1 / np.tan(np.radians(180 - table.side_cut_deg))
    for (ax, ay), (bx, by) in table.nose_segments_mm.values():
        lengthwise = ay == by
        at, first, last = (0, ax, bx) if lengthwise else (1, ay, by)
        line, far = (ay, width) if lengthwise else (ax, length)
        across = points_mm[:, 1 - at]
        depth = (across - line if line == far else line - across) + slack_mm
        along = points_mm[:, at]
        mid = length / 2
        open_first = side if lengthwise and first > mid else corner
        open_last = side if lengthwise and last < mid else corner
        out |= (
            (depth > 0) & (along > first - open_first * depth) & (along < last + open_last * depth)
        )
    return out


def sample(
    linear: Float32, cloth: Cloth, camera: Camera, rays: Rays, span: Span
) -> tuple[FloatArray, FloatArray]:
    """Profiles across the outlines in units of the cloth's noise, and each ball's bare cloth.

    Returns (3, K, N, S): brightness ratio and two chroma ratios to bare cloth; and the bare
    cloth's linear BGR at each outline point, (K, N, 3).
    """
    places = rays.outline_px[:, :, None] + rays.normal[:, :, None] * span.samples_px[:, None]
    count, number, samples = places.shape[:3]
    flat = places.reshape(count * number, samples, 2).astype(np.float32)
    colour = np.empty((count * number, samples, 3), np.float32)
    step = 32000  # remap's own limit on one side
    for start in range(0, len(flat), step):
        part = flat[start : start + step]
        colour[start : start + step] = cv2.remap(
            linear, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    ground = camera.back_project(rays.outline_px.reshape(-1, 2))
    bare = cloth.at(ground)
    ratio = colour / bare[:, None, :]
    channels = opponent(np.minimum(ratio, 12.0))
    scaled = [c / s for c, s in zip(channels, cloth.spread, strict=True)]
    stacked = np.stack(scaled).reshape(3, count, number, samples)
    return stacked.astype(float), bare.reshape(count, number, 3).astype(float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bases:
    """Orthonormal bases of the change-point models, for one span and ball size."""

    light: FloatArray
    """(S, T · 5)."""
    chroma: FloatArray
    """(S, T · 3); rows of the prior left out."""
    light_none: FloatArray
    """Basis without a ball's end, (S, 3)."""
    chroma_none: FloatArray


@lru_cache(maxsize=32)
def bases_of(span: Span, radius_px: float) -> Bases:
    """Bases for balls of that outline radius (rounded by the caller, so that few are kept)."""
    samples, offsets = span.samples_px, span.offsets_px
    light, chroma = [], []
    for offset in offsets:
        light.append(_light_basis(samples - offset, span.blur_px, radius_px))
        chroma.append(_chroma_basis(samples - offset, span.chroma_blur_px, radius_px))
    scaled = samples / max(span.inside_px, span.outside_px)
    none = np.linalg.qr(np.column_stack([np.ones_like(scaled), scaled, scaled**2]))[0]
    flat = _with_prior(np.column_stack([np.ones_like(scaled), scaled]), (_OUTSIDE_CHROMA, 0.3))
    return Bases(
        light=np.concatenate(light, axis=1), chroma=np.concatenate(chroma, axis=1),
        light_none=none, chroma_none=flat,
    )  # fmt: skip


_OUTSIDE_CHROMA = 0.25
"""Weight of the prior that chroma outside a ball is the cloth's (1 / sigma in noise units)."""
_WEAK = 0.01


def _blurred(distance: FloatArray, blur_px: float, radius_px: float) -> tuple[FloatArray, ...]:
    """Inside step, limb (height of the sphere under the view) and its square, blurred."""
    fine = np.arange(-40.0, 40.0, 0.05)
    inside = np.where(fine < 0, 1.0, 0.0)
    height2 = np.clip(1 - (1 + fine / radius_px) ** 2, 0, None) * inside
    kernel = np.exp(-0.5 * (np.arange(-5 * blur_px, 5 * blur_px + 0.05, 0.05) / blur_px) ** 2)
    kernel /= kernel.sum()
    limb = np.convolve(np.sqrt(height2), kernel, mode="same")
    slope = np.convolve(height2, kernel, mode="same")
    step = 0.5 * (1 - erf(distance / (blur_px * np.sqrt(2))))
    return step, np.interp(distance, fine, limb), np.interp(distance, fine, slope)


def _light_basis(distance: FloatArray, blur_px: float, radius_px: float) -> FloatArray:
    step, limb, slope = _blurred(distance, blur_px, radius_px)
    outside = 1 - step
    columns = np.column_stack([step, limb, slope, outside, outside * distance / 4])
    return _with_prior(columns, (_WEAK, _WEAK, _WEAK, _WEAK, 0.1))


def _chroma_basis(distance: FloatArray, blur_px: float, radius_px: float) -> FloatArray:
    step, limb, _ = _blurred(distance, blur_px, radius_px)
    return _with_prior(np.column_stack([step, limb, 1 - step]), (_WEAK, _WEAK, _OUTSIDE_CHROMA))


def _with_prior(columns: FloatArray, weights: Sequence[float]) -> FloatArray:
    """Orthonormal basis of the columns with prior rows beneath; only the data rows."""
    whole = np.vstack([columns, np.diag(np.asarray(weights))])
    return np.asarray(np.linalg.qr(whole)[0][: len(columns)], dtype=float)


def curves(profiles: FloatArray, bases: Bases, span: Span) -> tuple[FloatArray, FloatArray]:
    """Cost of the ball's end at each offset, and of no end at all.

    ``profiles`` is (3, K, N, S). Returns (K, N, T) and (K, N): half the effective sample count
    times the log of the misfit (1 = noise of bare cloth), added over the channels.
    """
    _, count, number, samples = profiles.shape
    offsets = len(span.offsets_px)
    effective = samples * STEP_PX * 0.5
    cost = np.zeros((count, number, offsets))
    without = np.zeros((count, number))
    pairs = ((bases.light, bases.light_none), *[(bases.chroma, bases.chroma_none)] * 2)
    for profile, (ended, endless) in zip(profiles, pairs, strict=True):
        flat = profile.reshape(count * number, samples)
        whole = (flat**2).sum(axis=1)
        explained = ((flat @ ended) ** 2).reshape(count * number, offsets, -1).sum(axis=2)
        rest = np.maximum(whole[:, None] - explained, 0) / samples
        cost += (0.5 * effective * np.log(1 + rest)).reshape(count, number, offsets)
        rest_none = np.maximum(whole - ((flat @ endless) ** 2).sum(axis=1), 0) / samples
        without += (0.5 * effective * np.log(1 + rest_none)).reshape(count, number)
    return cost, without
