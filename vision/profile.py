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

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, Table

from .cloth import Cloth, Float32
from .footprint import Footprint

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
    blur_px: float = 0.85
    chroma_blur_px: float = 1.35
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
    on_bed: NDArray[np.bool_]
    """Whether bare bed would show just outside, (K, N)."""


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
    outside = camera.back_project((outline + 0.3 * spoke).reshape(-1, 2), 0.0)
    inside = (outside > 0) & (outside < np.asarray(table.surface_mm))
    on_bed = np.asarray(inside.all(axis=1)).reshape(shown.shape)
    return Rays(outline_px=outline, normal=normal, radius_px=radius, shown=shown, on_bed=on_bed)


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


def clear_px(
    camera: Camera, rays: Rays, span: Span, centres_mm: FloatArray, neighbours_mm: FloatArray
) -> FloatArray:
    """How far outside the outline each ray runs before it nears another ball, px (K, N).

    ``neighbours_mm`` (M, 2) may hold the balls themselves. At most the span's outside.
    """
    count, number = rays.shown.shape
    clear = np.full((count, number), span.outside_px)
    if len(neighbours_mm) == 0:
        return clear
    steps = np.arange(0.0, span.outside_px + 0.01, 1.0)
    places = rays.outline_px[:, :, None] + rays.normal[:, :, None] * steps[:, None]
    apart = np.linalg.norm(centres_mm[:, None] - neighbours_mm[None], axis=-1)
    for k, m in np.argwhere((apart > BALL_DIAMETER_MM / 2) & (apart < 1.7 * BALL_DIAMETER_MM)):
        ground = camera.back_project(places[k].reshape(-1, 2))
        other = Footprint.at(camera, np.broadcast_to(neighbours_mm[m], ground.shape))
        hit = (other.norm(ground - neighbours_mm[m]) < _NEAR_OUTLINE).reshape(number, -1)
        first = np.where(hit.any(axis=1), steps[hit.argmax(axis=1)] - 1.0, span.outside_px)
        clear[k] = np.minimum(clear[k], first)
    return clear


_NEAR_OUTLINE = 1.05
"""Outline radii within which a neighbour's blurred edge is felt."""


def sample(
    tone: Float32, cloth: Cloth, camera: Camera, rays: Rays, span: Span, clear: FloatArray
) -> FloatArray:
    """Profiles across the outlines: brightness and two chromas in the cloth's axes, (3, K, N, S).

    Beyond ``clear`` (K, N), px, a ray repeats its last clear value.
    """
    along = np.minimum(span.samples_px, clear[..., None])
    places = rays.outline_px[:, :, None] + rays.normal[:, :, None] * along[..., None]
    count, number, samples = places.shape[:3]
    flat = places.reshape(count * number, samples, 2).astype(np.float32)
    colour = np.empty((count * number, samples, 3), np.float32)
    step = 32000  # remap's own limit on one side
    for start in range(0, len(flat), step):
        part = flat[start : start + step]
        colour[start : start + step] = cv2.remap(
            tone, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    ground = camera.back_project(rays.outline_px.reshape(-1, 2))
    bare = cloth.at(ground)
    ratio = np.asarray(colour / bare[:, None, :], dtype=np.float32)
    channels = np.moveaxis(cloth.deviation(ratio), -1, 0)
    return channels.reshape(3, count, number, samples).astype(float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bases:
    """Orthonormal bases of the change-point models, for one span and ball size."""

    light: FloatArray
    """(S, T · 3)."""
    chroma: FloatArray
    """(S, T · 2); rows of the prior left out."""
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


_MIRROR_POWER = 0.75
"""Mirrored light acts on tone values, which are about the square root of light."""


def _mirrored(height: FloatArray) -> FloatArray:
    """Share of the tone that clear coat of index 1.5 mirrors, by cosine of the angle (Schlick)."""
    return np.asarray((0.04 + 0.96 * (1 - height) ** 5) ** _MIRROR_POWER)


def _blurred(distance: FloatArray, blur_px: float, radius_px: float) -> FloatArray:
    """Blurred columns (S, 3): the ball's body, cloth, and cloth times distance.

    The limb of a polished ball mirrors the cloth behind it more and more towards its end, so
    the body's colour fades into the cloth's inside the outline. (Without this the position
    error is half as large again.)
    """
    fine = np.arange(-40.0, 40.0, 0.05)
    inside = np.where(fine < 0, 1.0, 0.0)
    height = np.sqrt(np.clip(1 - (1 + fine / radius_px) ** 2, 0, None))
    mirrored = _mirrored(height) * inside
    kernel = np.exp(-0.5 * (np.arange(-5 * blur_px, 5 * blur_px + 0.05, 0.05) / blur_px) ** 2)
    kernel /= kernel.sum()
    columns = [inside - mirrored, 1 - inside + mirrored, (1 - inside) * fine / 4]
    smooth = [np.interp(distance, fine, np.convolve(c, kernel, mode="same")) for c in columns]
    return np.column_stack(smooth)


def _light_basis(distance: FloatArray, blur_px: float, radius_px: float) -> FloatArray:
    columns = _blurred(distance, blur_px, radius_px)
    return _with_prior(columns, (_WEAK, _WEAK, _SHADOW_SLOPE))


def _chroma_basis(distance: FloatArray, blur_px: float, radius_px: float) -> FloatArray:
    columns = _blurred(distance, blur_px, radius_px)[:, :2]
    return _with_prior(columns, (_WEAK, _OUTSIDE_CHROMA))


_SHADOW_SLOPE = 0.1


def _with_prior(columns: FloatArray, weights: Sequence[float]) -> FloatArray:
    """Orthonormal basis of the columns with prior rows beneath; only the data rows."""
    whole = np.vstack([columns, np.diag(np.asarray(weights))])
    return np.asarray(np.linalg.qr(whole)[0][: len(columns)], dtype=float)


FOREIGN_COST = 1.0
"""Cost of a pixel outside the ball that is certainly no cloth."""
CLOTH_COST = 0.5
"""Cost of a pixel inside the ball that looks like cloth; small, since balls have such colours."""


def region_cost(profiles: FloatArray, light_sigma: float, span: Span) -> FloatArray:
    """Cost (K, N, T) of what would lie outside and is no cloth, and inside and is."""
    light = profiles[0] * light_sigma
    scale = np.clip(light, 0.3, 1.0)
    away = np.hypot(profiles[1], profiles[2]) / scale
    away += np.maximum(light - 1.25, 0) / 0.02 + np.maximum(0.3 - light, 0) / 0.02
    foreign = np.clip((away - 3.0) / 4.0, 0, 1)
    samples, offsets = span.samples_px, span.offsets_px
    inside = np.clip(0.5 - (samples[:, None] - offsets) / (2 * span.blur_px), 0, 1)
    outside = np.clip(0.5 + (samples[:, None] - offsets) / (2 * span.blur_px) - 0.5, 0, 1)
    cost = FOREIGN_COST * (foreign @ outside) + CLOTH_COST * ((1 - foreign) @ inside)
    return np.asarray(STEP_PX * cost, dtype=float)


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
