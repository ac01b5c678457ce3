"""Straight edges of the table found in a still, sub-pixel, around where they are expected.

The picture is sampled in a strip along the predicted line; stretches of the strip are averaged
and the line of steepest brightness through all of them is taken, then each stretch's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from calibration.arrays import FloatArray
from calibration.camera import Camera

from .marks import Landmark, Vector
from .profile import lowest, misfit, step_basis

LightArray = NDArray[np.float32]
# Lengths are in mm on the table. Stills from 1280 px across a 9 ft table up show 0.45 px a mm and
# more; what is said of pixels below is for those.
_STEP_MM = 0.25
"""Between samples across an edge, a ninth of a pixel: the parabola through three of them tells the
rest."""
_STATION_MM = 3.0
"""Between samples along it, a pixel and more: nearer ones are no new evidence."""
_SMOOTH_MM = 1.3
"""Sigma of the Gaussian whose slope tells steepness: half a pixel, the blur of a sharp lens."""
_OWN_REACH_MM = 2.5
"""How far a stretch's own edge may lie from the whole line: a pixel, or a cushion's unevenness."""
_FIT_HALF_MM = 8.0
"""Half the stretch of a profile to which a step is fitted: three times the widest blur."""
_BLURS_MM = (0.7, 1.0, 1.3, 1.7, 2.2)
"""Blurs of a step that are tried, sigma: a third of a pixel to one, each a third above the last."""
_LEAST_STRENGTH = 0.35
"""A stretch whose edge is weaker than this part of the line's typical one is left out: chosen, so
that a shadow over half of the light leaves it in and a thing that hides the edge does not."""
_PLAIN_LIGHT = 0.02
"""Least step in linear luminance (0 … 1) at which colour is not needed: five times the noise of a
stretch's mean in a poor still (0.004)."""
_KNOT_MM = 6.0
"""Between knots of a projected grid, straight between them to a few thousandths of a pixel."""
LEAST_SIGNIFICANCE = 8.0
"""Least step, in standard errors by its own spread from stretch to stretch, that makes a line. Of
816 edges of rendered and drawn tables 99 % are above 9; of as many lines on bare cloth 99 % are
below 7.5."""
_LEAST_SPREAD = 1e-5
"""Light (0 … 1) that an 8-bit still cannot tell from nothing."""
_NEAR_MM, _FAR_MM, _MEAN_HALF_MM = 3.0, 7.5, 1.5
"""Where the light beside a line is averaged: next to the step, and beyond to tell its slope."""
EDGE_SIGMA_PX = 0.15
"""Expected error of a stretch's edge, 1 sigma, before the solve has seen how well its kind agrees;
in the practice room noses scatter by 0.05 px and seams by 0.1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableEdge:
    """One straight edge of the table model."""

    name: str
    kind: str
    part: str
    """The cushion or the pocket that it is an edge of."""
    start_mm: Vector
    end_mm: Vector
    across_mm: Vector
    """Unit vector away from the bed (noses, seams) or from the cushion (facings)."""
    moves: tuple[tuple[str, Vector], ...]
    rises: int = 0
    """1 where light must rise along ``across_mm``, -1 where it must fall, 0 for either."""
    block_mm: float = 40.0
    whole: bool = False
    """One landmark for the whole edge instead of one a stretch."""
    built_sigma_mm: float = 0.0

    def placed(self, change_mm: Mapping[str, float]) -> tuple[FloatArray, FloatArray]:
        """Start and end with the table's dimensions changed, (3,) each, mm."""
        shift = np.zeros(3)
        for name, direction in self.moves:
            shift += change_mm.get(name, 0.0) * np.asarray(direction)
        return np.asarray(self.start_mm) + shift, np.asarray(self.end_mm) + shift


@dataclass(frozen=True, slots=True)
class Light:
    """A still as linear light: luminance, and two colour differences."""

    luminance: LightArray
    colour: LightArray
    """(H, W, 2)."""

    @classmethod
    def of(cls, still_bgr: NDArray[np.uint8]) -> Light:
        """Light of an 8-bit sRGB still; blur is symmetric in linear light only."""
        code = np.arange(256) / 255.0
        linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
        bgr = linear.astype(np.float32)[still_bgr]
        luminance = bgr @ np.array([0.0722, 0.7152, 0.2126], np.float32)
        colour = np.stack([bgr[..., 0] - luminance, bgr[..., 2] - luminance], axis=-1)
        return cls(np.ascontiguousarray(luminance), np.ascontiguousarray(colour))

    def sample(self, pixels_px: FloatArray, shape: tuple[int, int]) -> FloatArray:
        """(rows, columns, 3): luminance and colour at pixels (rows · columns, 2)."""
        u = pixels_px[:, 0].astype(np.float32).reshape(shape)
        v = pixels_px[:, 1].astype(np.float32).reshape(shape)
        parts = [
            cv2.remap(image, u, v, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
            for image in (self.luminance, self.colour)
        ]
        return np.dstack(parts).astype(float)


def project_grid(
    camera: Camera,
    origin_mm: FloatArray,
    axes: tuple[FloatArray, FloatArray],
    along_mm: FloatArray,
    across_mm: FloatArray,
) -> FloatArray:
    """Pixels (len(along) · len(across), 2) of a fine grid on a table plane, from a coarse one.

    Between knots ``_KNOT_MM`` apart the projection is straight to a few thousandths of a pixel.
    """
    knots, weights = zip(*(_knots(axis) for axis in (along_mm, across_mm)), strict=True)
    points = (
        np.asarray(origin_mm)
        + knots[0][:, None, None] * axes[0]
        + knots[1][None, :, None] * axes[1]
    )
    coarse = camera.project(points.reshape(-1, 3)).reshape(len(knots[0]), len(knots[1]), 2)
    fine = np.einsum("ai,ijc,bj->abc", weights[0], coarse, weights[1], optimize=True)
    return np.asarray(fine.reshape(-1, 2))


def _knots(axis_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Evenly spaced knots over ``axis_mm`` and the weights (len(axis), knots) between them."""
    count = int(np.ceil(float(np.ptp(axis_mm)) / _KNOT_MM)) + 1
    knots = np.linspace(float(axis_mm.min()), float(axis_mm.max()), max(count, 2))
    place = (axis_mm - knots[0]) / (knots[1] - knots[0])
    low = np.clip(np.floor(place).astype(int), 0, len(knots) - 2)
    weights = np.zeros((len(axis_mm), len(knots)))
    rows = np.arange(len(axis_mm))
    weights[rows, low] = 1 - (place - low)
    weights[rows, low + 1] = place - low
    return knots, weights


def find_edge(
    light: Light,
    camera: Camera,
    edge: TableEdge,
    change_mm: Mapping[str, float],
    window_mm: float,
    least_significance: float = LEAST_SIGNIFICANCE,
) -> list[Landmark]:
    """Landmarks along ``edge`` where it is seen within ``window_mm`` of its predicted place.

    None where its step does not stand out from chance by ``least_significance`` standard errors.
    """
    start, end = edge.placed(change_mm)
    length = float(np.linalg.norm(end - start))
    blocks = max(2, round(length / edge.block_mm))
    per_block = max(3, round(length / blocks / _STATION_MM))
    part = (np.arange(blocks * per_block) + 0.5) / (blocks * per_block)
    reach = window_mm + _OWN_REACH_MM + _FIT_HALF_MM + 1.0
    offsets = np.arange(-reach, reach + _STEP_MM / 2, _STEP_MM)
    way = (end - start) / length
    pixels = project_grid(camera, start, (way, np.asarray(edge.across_mm)), part * length, offsets)
    width, height = camera.image_size_px
    strip = light.sample(pixels, (len(part), len(offsets)))
    strip = strip.reshape(blocks, per_block, len(offsets), 3).mean(axis=1)
    seen = np.asarray(_inside(pixels, width, height).reshape(blocks, -1).all(axis=1))
    if seen.sum() < 2:
        return []
    steep = _steepness(strip, offsets, window_mm, edge.rises)
    line = _best_line(steep[seen], np.flatnonzero(seen), blocks, offsets, window_mm)
    if line is None:
        return []
    found = _own_offsets(_projected(strip, line, offsets, edge), steep, seen, line, offsets)
    if edge.whole:
        if 2 * len(found) <= blocks:
            return []
        part_mm, offset_mm = np.mean([b for b, _ in found]), np.median([o for _, o in found])
        middle = (float(part_mm) + 0.5) / blocks
        return [_landmark(camera, edge, change_mm, (0, middle, float(offset_mm)))]
    # a facing has too few stretches for a spread
    if len(found) < 3 or _significance(strip, found, offsets) < least_significance:
        return []
    return [
        _landmark(camera, edge, change_mm, (block, (block + 0.5) / blocks, offset))
        for block, offset in found
    ]


def _inside(pixels: FloatArray, width: int, height: int) -> NDArray[np.bool_]:
    return np.asarray(
        (pixels[:, 0] > 1)
        & (pixels[:, 0] < width - 2)
        & (pixels[:, 1] > 1)
        & (pixels[:, 1] < height - 2)
    )


def _steepness(strip: FloatArray, offsets: FloatArray, window_mm: float, rises: int) -> FloatArray:
    """(blocks, offsets): how steeply the light changes across the line."""
    slope = gaussian_filter1d(strip, _SMOOTH_MM / _STEP_MM, axis=1, order=1, mode="nearest")
    slope *= 1.0 / _STEP_MM
    near = np.abs(offsets) <= window_mm
    typical = np.abs(np.median(slope[:, near], axis=0))
    luminance = slope[..., 0]
    if rises:
        return np.maximum(rises * luminance, 0.0)
    # light alone where it suffices: colour is stored at half resolution in most stills
    if typical[:, 0].max() * _SMOOTH_MM * 2.5 > _PLAIN_LIGHT:
        return np.abs(luminance)
    return np.asarray(np.sqrt(np.sum(slope**2, axis=2)))


def _best_line(
    steep: FloatArray,
    where: NDArray[np.intp],
    blocks: int,
    offsets: FloatArray,
    window_mm: float,
) -> tuple[float, float, float] | None:
    """Offset at the middle, shift from end to end, and typical steepness of the best line."""
    lever = (where + 0.5) / blocks - 0.5
    near = np.abs(offsets) <= window_mm
    prior = np.exp(-0.5 * (offsets / (0.7 * window_mm)) ** 2)
    best: tuple[float, float, float] | None = None
    best_score = 0.0
    capped = np.minimum(steep, 3 * np.median(steep[:, near].max(axis=1)))
    columns = np.arange(len(offsets))
    for shift in np.arange(-window_mm, window_mm + 0.5, 1.0):
        cells = np.round(lever * shift / _STEP_MM).astype(int)
        askew = (columns + cells[:, None]) % len(offsets)
        total = np.take_along_axis(capped, askew, axis=1).sum(axis=0)
        score = np.where(near, total, 0.0) * prior * np.exp(-0.5 * (shift / window_mm) ** 2)
        peak = int(np.argmax(score))
        if score[peak] > best_score:
            best_score = float(score[peak])
            best = (float(offsets[peak]), float(shift), float(total[peak]) / len(steep))
    return best


def _significance(
    strip: FloatArray, found: Sequence[tuple[int, float]], offsets: FloatArray
) -> float:
    """The step at the stretches' own edges, the slope on both sides taken off, in standard errors.

    The greatest of luminance and both colours; the spread is that between stretches, so noise,
    weave and even slopes come out near 1 however strong they are.
    """
    steps = []
    for block, offset_mm in found:
        inner_far, inner, outer, outer_far = (
            strip[block, np.abs(offsets - offset_mm - at) < _MEAN_HALF_MM].mean(axis=0)
            for at in (-_FAR_MM, -_NEAR_MM, _NEAR_MM, _FAR_MM)
        )
        slope = (outer_far - outer + inner - inner_far) / (2 * (_FAR_MM - _NEAR_MM))
        steps.append(outer - inner - 2 * _NEAR_MM * slope)
    seen = np.array(steps)
    usual = np.median(seen, axis=0)
    spread = 1.4826 * np.median(np.abs(seen - usual), axis=0) / np.sqrt(len(seen))
    return float(np.max(np.abs(usual) / np.maximum(spread, _LEAST_SPREAD)))


def _projected(
    strip: FloatArray, line: tuple[float, float, float], offsets: FloatArray, edge: TableEdge
) -> FloatArray:
    """(blocks, offsets): light along the one colour direction in which the line steps."""
    middle, shift, _ = line
    blocks = len(strip)
    inner, outer = [], []
    for block in range(blocks):
        at = middle + shift * ((block + 0.5) / blocks - 0.5)
        inner.append(strip[block, np.abs(offsets - at + 4.0) < 2.0].mean(axis=0))
        outer.append(strip[block, np.abs(offsets - at - 4.0) < 2.0].mean(axis=0))
    contrast = np.median(np.array(outer) - np.array(inner), axis=0)
    if edge.rises or abs(contrast[0]) > _PLAIN_LIGHT:
        return np.asarray(strip[..., 0])
    return np.asarray(strip @ (contrast / max(float(np.linalg.norm(contrast)), 1e-9)))


def _own_offsets(
    profiles: FloatArray,
    steep: FloatArray,
    seen: NDArray[np.bool_],
    line: tuple[float, float, float],
    offsets: FloatArray,
) -> list[tuple[int, float]]:
    """Block and sub-step offset of every stretch whose edge lies near the line."""
    middle, shift, typical = line
    blocks = len(profiles)
    errors = _sharpest_misfit(profiles[seen], np.flatnonzero(seen), line, offsets)
    out = []
    for block, error in zip(np.flatnonzero(seen), errors, strict=True):
        expected = middle + shift * ((block + 0.5) / blocks - 0.5)
        cells = np.flatnonzero(np.abs(offsets - expected) <= _OWN_REACH_MM)
        if len(cells) < 3 or steep[block, cells].max() < _LEAST_STRENGTH * typical:
            continue
        place = lowest(error, int(cells[0]), int(cells[-1]))
        if place is not None:
            out.append((int(block), float(offsets[0] + place * _STEP_MM)))
    return out


def _sharpest_misfit(
    profiles: FloatArray,
    where: NDArray[np.intp],
    line: tuple[float, float, float],
    offsets: FloatArray,
) -> FloatArray:
    """Misfit of a step at every sample, with the blur that suits the whole line best."""
    half = round(_FIT_HALF_MM / _STEP_MM)
    best: FloatArray | None = None
    best_sum = np.inf
    for blur_mm in _BLURS_MM:
        errors = misfit(profiles, step_basis(half, _STEP_MM, blur_mm))
        total = float(np.median(errors.min(axis=1)))
        if best is None or total < best_sum:
            best, best_sum = errors, total
    assert best is not None
    return best


def _landmark(
    camera: Camera,
    edge: TableEdge,
    change_mm: Mapping[str, float],
    found: tuple[int, float, float],
) -> Landmark:
    block, part, offset = found
    start, end = edge.placed(change_mm)
    along = (end - start) / np.linalg.norm(end - start)
    at = start + part * (end - start) + offset * np.asarray(edge.across_mm)
    pixel, before, after, beyond = camera.project(
        np.stack([at, at - along, at + along, at + np.asarray(edge.across_mm)])
    )
    tangent = after - before
    normal = np.array([-tangent[1], tangent[0]]) / np.hypot(*tangent)
    if normal @ (beyond - pixel) < 0:
        normal = -normal
    nominal = np.asarray(edge.start_mm) + part * (
        np.asarray(edge.end_mm) - np.asarray(edge.start_mm)
    )
    return Landmark(
        name=f"{edge.kind} {edge.name}" if edge.whole else f"{edge.kind} {edge.name} {block + 1}",
        kind=edge.kind,
        part=edge.part,
        point_mm=(float(nominal[0]), float(nominal[1]), float(nominal[2])),
        seen_px=(float(pixel[0]), float(pixel[1])),
        normal_px=(float(normal[0]), float(normal[1])),
        sigma_px=EDGE_SIGMA_PX,
        moves=edge.moves,
        built_sigma_mm=edge.built_sigma_mm,
    )
