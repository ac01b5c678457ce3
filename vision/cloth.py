"""The bare cloth's colour and light over the bed, estimated from the still itself.

Balls, shadows, chalk and whatever lies about are outliers: the dominant chromaticity is found
first, then smooth fields are fitted robustly. Shadow on cloth changes its brightness much more
than its chromaticity, so pixels are judged by their ratio to the bare cloth. Ratios are of the
picture's own tone values, not of linear light: blur, sharpening and compression act on those, so
edges stay where they are (measured: half the position error of linear light).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from .topview import TopView

Float32 = NDArray[np.float32]
FloatArray = NDArray[np.float64]
CELL = 4
"""Top-view pixels per cell of the model, each way: 8 mm."""
EDGE_MM = 20.0
"""Strip inside the nose lines left out: parallax and the cushion's own shadow lie there."""
SMOOTH_MM = 56.0
"""Scale of the local correction; wider than a ball, narrower than lamp patterns."""
FLOOR = 0.015
"""Tone added before logarithms: about the darkest step a compressed picture knows."""
_CHROMA_REACH = (0.45, 0.3, 0.2, 0.15)
_ROUNDS = 4


def to_tone(picture: NDArray[np.uint8]) -> Float32:
    """8-bit picture (H, W, 3) → its own tone values, float32, 0 … 1, same channel order."""
    return np.asarray(picture, dtype=np.float32) * np.float32(1 / 255)


def to_linear(tone: NDArray[Any]) -> FloatArray:
    """Tone values → linear light by the sRGB curve, 0 … 1."""
    value = np.asarray(tone, dtype=float)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """Bare cloth over the top view, BGR tone values, with the picture's own noise."""

    view: TopView = field(repr=False)
    cells: Float32 = field(repr=False)
    """BGR tone of bare cloth for each cell (rows/4, columns/4, 3)."""
    axes: Float32 = field(repr=False)
    """Rows: brightness, two chromas; from ratio to bare cloth (BGR) to sigmas of its noise."""

    @property
    def light_sigma(self) -> float:
        """Noise of the brightness ratio of single pixels on bare cloth."""
        return 1.0 / float(self.axes[0].sum())

    def deviation(self, ratio: Float32) -> Float32:
        """Ratio to bare cloth (…, 3 BGR) → brightness and two chromas in sigmas (…, 3).

        Cloth in any light has chroma 0; bare cloth has brightness 1 / ``light_sigma``.
        """
        if ratio.ndim == 3:
            return np.asarray(cv2.transform(ratio, self.axes), dtype=np.float32)
        return np.asarray(ratio @ self.axes.T, dtype=np.float32)

    def at(self, points_mm: ArrayLike) -> Float32:
        """BGR tone of bare cloth (N, 3) at table points (N, 2), mm; held at the edges."""
        columns_rows = (self.view.to_view(points_mm) + 0.5) / CELL - 0.5
        columns_rows = columns_rows.astype(np.float32)
        out = np.empty((len(columns_rows), 3), np.float32)
        step = 32000  # remap's own limit on one side
        for start in range(0, len(columns_rows), step):
            part = columns_rows[start : start + step]
            out[start : start + step] = cv2.remap(
                self.cells, part[:, :1], part[:, 1:], cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            ).reshape(-1, 3)  # fmt: skip
        return out

    def ratio(self, top_tone: Float32) -> Float32:
        """Top view in tone values → its ratio to bare cloth, (rows, columns, 3)."""
        rows, columns = top_tone.shape[:2]
        bare = cv2.resize(self.cells, (columns, rows), interpolation=cv2.INTER_LINEAR)
        return np.asarray(top_tone / bare, dtype=np.float32)


def estimate_cloth(top_tone: Float32, view: TopView) -> Cloth:
    """Fit the bare cloth to a top view in tone values (rows, columns, 3)."""
    rows, columns = view.shape
    size = (columns // CELL, rows // CELL)
    cut = top_tone[: size[1] * CELL, : size[0] * CELL]
    cells = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
    logs = np.log(cells + FLOOR)
    features = np.stack(
        [logs.mean(axis=2), logs[..., 2] - logs[..., 1], logs[..., 0] - logs[..., 1]], axis=-1
    )
    bed = _bed_cells(view, size)
    fitted, inlier = _fit_fields(features, bed)
    fitted = fitted + _local(features - fitted, inlier, SMOOTH_MM / (CELL * view.scale_mm))
    green = fitted[..., 0] - (fitted[..., 1] + fitted[..., 2]) / 3
    bare = np.exp(np.stack([green + fitted[..., 2], green, green + fitted[..., 1]], axis=-1))
    bare = np.maximum(bare - FLOOR, FLOOR / 4).astype(np.float32)
    return Cloth(view=view, cells=bare, axes=_axes(cut, bare, inlier))


def _bed_cells(view: TopView, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Cells whose middle lies on the bed, a strip along the noses left out."""
    columns, rows = size
    step = CELL * view.scale_mm
    x = -view.margin_mm + (np.arange(columns) + 0.5) * step
    y = -view.margin_mm + (np.arange(rows) + 0.5) * step
    length, width = view.table.surface_mm
    inside_x = (x > EDGE_MM) & (x < length - EDGE_MM)
    inside_y = (y > EDGE_MM) & (y < width - EDGE_MM)
    return np.asarray(inside_y[:, None] & inside_x[None, :])


@lru_cache(maxsize=8)
def _terms(shape: tuple[int, int], degree: int) -> NDArray[np.float64]:
    """Polynomial terms up to a total degree over the cells, (rows, columns, terms)."""
    y, x = np.meshgrid(np.linspace(-1, 1, shape[0]), np.linspace(-1, 1, shape[1]), indexing="ij")
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    out = np.stack([x**i * y**j for i, j in powers], axis=-1)
    out.setflags(write=False)
    return out


def _fit_fields(
    features: NDArray[np.float64], bed: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Smooth brightness and chroma over the bed, and the cells that are bare cloth."""
    shape = (features.shape[0], features.shape[1])
    chroma_terms, light_terms = _terms(shape, 2), _terms(shape, 4)
    centre = _dominant(features[..., 1:][bed])
    fitted = np.empty_like(features)
    fitted[..., 1:] = centre
    inlier = bed
    for reach in _CHROMA_REACH:
        away = np.linalg.norm(features[..., 1:] - fitted[..., 1:], axis=-1)
        inlier = bed & (away < reach)
        if inlier.sum() < 0.05 * bed.sum():  # hardly any cloth to see: keep what there is
            inlier = bed
        fitted[..., 1:] = _least(chroma_terms, features[..., 1:], inlier)
    keep = inlier
    for _ in range(_ROUNDS):
        fitted[..., 0] = _least(light_terms, features[..., 0], keep)
        rest = features[..., 0] - fitted[..., 0]
        middle = np.median(rest[keep])
        sigma = 1.4826 * np.median(np.abs(rest[keep] - middle)) + 0.01
        keep = inlier & (np.abs(rest - middle) < 3.0 * sigma + 0.03)
    return fitted, keep


def _dominant(chroma: NDArray[np.float64]) -> NDArray[np.float64]:
    """The most frequent chromaticity (2,) of many (N, 2): peak of a smoothed histogram."""
    edges = np.linspace(-3.0, 3.0, 121)
    counts, _, _ = np.histogram2d(chroma[:, 0], chroma[:, 1], bins=(edges, edges))
    smooth = cv2.GaussianBlur(counts, (0, 0), 2.0)
    i, j = np.unravel_index(int(np.argmax(smooth)), counts.shape)
    half = (edges[1] - edges[0]) / 2
    return np.array([edges[i] + half, edges[j] + half])


def _least(
    terms: NDArray[np.float64], values: NDArray[np.float64], keep: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Least squares over the kept cells (rows, columns, …), evaluated everywhere."""
    design = terms[keep]
    normal = design.T @ design + 1e-6 * len(design) * np.eye(design.shape[1])
    weights = np.linalg.solve(normal, design.T @ values[keep])
    return np.asarray(terms @ weights, dtype=float)


def _local(
    rest: NDArray[np.float64], inlier: NDArray[np.bool_], sigma_cells: float
) -> NDArray[np.float64]:
    """Smoothed residual of bare cells; fades to nothing where none are near."""
    weight = inlier.astype(np.float64)
    total = cv2.GaussianBlur(weight, (0, 0), sigma_cells)
    carried = cv2.GaussianBlur(np.where(inlier[..., None], rest, 0.0), (0, 0), sigma_cells)
    return np.asarray(carried / (total + 0.05)[..., None], dtype=float)


def _axes(top_tone: Float32, bare: Float32, inlier: NDArray[np.bool_]) -> Float32:
    """Axes of brightness and chroma (3, 3) in units of the noise of bare cloth's pixels.

    The chroma axes are square to the colour of cloth in any light after whitening by the
    noise's covariance, so that a dim channel's large relative noise counts little.
    """
    sample = top_tone[CELL // 2 :: CELL, CELL // 2 :: CELL][: bare.shape[0], : bare.shape[1]]
    colour = np.median(bare[inlier], axis=0).astype(float)
    colour /= colour.sum()
    rest = (sample / bare - 1.0)[inlier] * colour
    light = rest.sum(axis=1)
    sigma = 1.4826 * float(np.median(np.abs(light - np.median(light)))) + 1e-3
    near = rest[np.abs(light) < 4 * sigma]
    off = np.abs(near - np.median(near, axis=0))
    usual = 1.4826 * np.median(off, axis=0) + 1e-3
    near = near[(off < 4 * usual).all(axis=1)]
    noise = np.cov(near.T) + _NOISE_FLOOR**2 * np.eye(3)
    values, vectors = np.linalg.eigh(noise)
    whiten = vectors @ np.diag(values**-0.5) @ vectors.T
    along = whiten @ colour
    square = np.linalg.svd(along[None])[2][1:]
    chroma = square @ whiten * colour
    return np.stack([colour / max(sigma, 0.01), *chroma]).astype(np.float32)


_NOISE_FLOOR = 0.003
"""Least noise of a channel over the cloth's brightness: 8-bit steps and JPEG."""
