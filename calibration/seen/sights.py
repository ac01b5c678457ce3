"""The sights on the rail cap: small inlays of one kind, found as blobs near their places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.table import Table

from .edges import Light, project_grid
from .marks import OUTWARD, Landmark, sight_mark

_STEP_MM = 0.5
_SIGHT_REACH_MM = 18.0
"""Half the length of the largest diamond sight, with some room."""
_ON_RAIL_MM = 36.0
"""Across the rail the search stays clear of the seam and of the rail's outer edge."""
_AREA_MM2 = (50.0, 750.0)
"""From a small round sight, blurred, to a large diamond one."""
_LEAST_CONTRAST = 5.0
"""Peak against the rail's own unevenness (robust sigma)."""
_ALIKE = 2.2
"""Sights of one table are alike: area and contrast within this factor of the usual ones."""
SIGHT_SIGMA_PX = 0.05
"""Error of seeing a sight's middle: 0.04 to 0.05 px rms in rendered stills."""
BUILT_SIGMA_MM = 0.6
"""Placing of a single inlay, 1 sigma; the standard allows 3.2 mm, a template does better."""


@dataclass(frozen=True, slots=True)
class _Blob:
    name: str
    centre_px: FloatArray
    area_mm2: float
    contrast: float
    colour: FloatArray


def find_sights(
    light: Light,
    camera: Camera,
    table: Table,
    change_mm: Mapping[str, float],
    window_mm: float,
) -> list[Landmark]:
    """Landmarks for the sights seen within ``window_mm`` of their predicted places."""
    blobs = []
    for name in table.sights_mm:
        blob = _blob_near(light, camera, _predicted_mm(table, name, change_mm), name, window_mm)
        if blob is not None:
            blobs.append(blob)
    return [
        sight_mark(
            table,
            blob.name,
            seen_px=blob.centre_px,
            sigma_px=SIGHT_SIGMA_PX,
            built_sigma_mm=BUILT_SIGMA_MM,
        )
        for blob in _alike(blobs)
    ]


def _predicted_mm(table: Table, name: str, change_mm: Mapping[str, float]) -> FloatArray:
    out_x, out_y = OUTWARD[name.split("-")[0]]
    further = change_mm.get("sight_offset_mm", 0.0)
    x_mm, y_mm = table.sights_mm[name]
    height = table.rail_cap_height_mm + change_mm.get("rail_cap_height_mm", 0.0)
    return np.array([x_mm + further * out_x, y_mm + further * out_y, height])


def _blob_near(
    light: Light, camera: Camera, at_mm: FloatArray, name: str, window_mm: float
) -> _Blob | None:
    """The most likely sight near a predicted place, or None where the rail shows none."""
    reach = window_mm + _SIGHT_REACH_MM
    out_x, _ = OUTWARD[name.split("-")[0]]
    wide, high = (min(reach, _ON_RAIL_MM), reach) if out_x else (reach, min(reach, _ON_RAIL_MM))
    grid_x, grid_y = np.meshgrid(_axis(wide), _axis(high))
    down, right = np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])
    pixels = project_grid(camera, at_mm, (down, right), _axis(high), _axis(wide))
    width, height = camera.image_size_px
    if pixels.min() < 1 or pixels[:, 0].max() > width - 2 or pixels[:, 1].max() > height - 2:
        return None
    patch = light.sample(pixels, (grid_x.shape[0], grid_x.shape[1]))
    away = np.hypot(grid_x, grid_y)
    peak = _peak(patch, away, window_mm)
    if peak is None:
        return None
    region = _region(patch, peak)
    if region is None:
        return None
    weight, colour, area_mm2 = region
    centre = np.array([np.sum(weight * grid_x), np.sum(weight * grid_y), 0.0]) / weight.sum()
    return _Blob(
        name=name,
        centre_px=camera.project(centre + at_mm)[0],
        area_mm2=area_mm2,
        contrast=float(np.linalg.norm(colour)),
        colour=colour,
    )


def _axis(half_mm: float) -> FloatArray:
    count = int(np.ceil(half_mm / _STEP_MM))
    return np.asarray(np.arange(-count, count + 1) * _STEP_MM, dtype=float)


def _peak(patch: FloatArray, away_mm: FloatArray, window_mm: float) -> tuple[int, int] | None:
    """Cell that stands out most from the rail, near places preferred."""
    smooth = cv2.GaussianBlur(patch, (0, 0), 2.0 / _STEP_MM)
    level = np.median(smooth, axis=(0, 1))
    spread = 1.4826 * np.median(np.abs(smooth - level), axis=(0, 1)) + 1e-3
    stands_out = np.sqrt(np.mean(((smooth - level) / spread) ** 2, axis=2))
    score = np.where(away_mm <= window_mm, stands_out, 0.0)
    score *= np.exp(-0.5 * (away_mm / window_mm) ** 2)
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    if stands_out[row, column] < _LEAST_CONTRAST:
        return None
    return int(row), int(column)


def _region(
    patch: FloatArray, peak: tuple[int, int]
) -> tuple[FloatArray, FloatArray, float] | None:
    """Weights of the blob's cells, its colour against the rail, and its area in mm²."""
    level = np.asarray(np.median(patch, axis=(0, 1)), dtype=float)
    weight = np.zeros(patch.shape[:2])
    colour = np.zeros(3)
    area_mm2 = 0.0
    for _ in range(2):
        row, column = peak
        core = patch[max(row - 2, 0) : row + 3, max(column - 2, 0) : column + 3]
        colour = np.asarray(np.median(core.reshape(-1, 3), axis=0), dtype=float) - level
        size = float(colour @ colour)
        if size < 1e-6:
            return None
        share = (patch - level) @ colour / size
        count, labels = cv2.connectedComponents((share > 0.5).astype(np.uint8))
        own = labels == labels[peak]
        area_mm2 = float(np.count_nonzero(own)) * _STEP_MM**2
        on_rim = own[0].any() or own[-1].any() or own[:, 0].any() or own[:, -1].any()
        if count < 2 or labels[peak] == 0 or on_rim:
            return None
        if not _AREA_MM2[0] <= area_mm2 <= _AREA_MM2[1]:
            return None
        near = _grown(own, 2.5)
        ring = _grown(own, 9.0) & ~_grown(own, 4.0)
        level = np.asarray(np.median(patch[ring], axis=0), dtype=float)
        weight = np.where(near, np.clip(share, 0.0, 1.2), 0.0)
        rows, columns = np.nonzero(own)
        peak = (round(float(rows.mean())), round(float(columns.mean())))
        if not own[peak]:
            return None
    return weight, colour, area_mm2


def _grown(mask: NDArray[np.bool_], by_mm: float) -> NDArray[np.bool_]:
    size = 2 * round(by_mm / _STEP_MM) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), kernel) > 0)


def _alike(blobs: list[_Blob]) -> list[_Blob]:
    """The blobs that look like each other: one table's sights are of one kind."""
    if len(blobs) < 4:
        return []
    area = float(np.median([blob.area_mm2 for blob in blobs]))
    contrast = float(np.median([blob.contrast for blob in blobs]))
    colour = np.median([blob.colour / blob.contrast for blob in blobs], axis=0)
    return [
        blob
        for blob in blobs
        if 1 / _ALIKE < blob.area_mm2 / area < _ALIKE
        and 1 / (2 * _ALIKE) < blob.contrast / contrast < 2 * _ALIKE
        and float(blob.colour @ colour) / blob.contrast > 0.5
    ]
