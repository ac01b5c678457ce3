"""Stills as a moved camera would have taken them, for the tests of drift."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.quality import bed_grid_mm
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from calibration.vary import POSE, varied

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]
_CELL_PX = 8


def bed_points_mm(table: Table) -> FloatArray:
    """Places (N, 3) over the bed at ball height."""
    grid = bed_grid_mm(table, 7, 13)
    return np.column_stack([grid, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)])


def misread_mm(told: Camera, real: Camera, table: Table) -> FloatArray:
    """How far off ``told`` places the bed's points that ``real`` sees, (N,)."""
    points = bed_points_mm(table)
    return np.hypot(*(told.back_project(real.project(points)) - points[:, :2]).T)


def shaken_px(told: Camera, real: Camera, table: Table) -> FloatArray:
    """How far the bed's points lie from where ``told`` puts them, px, (N,)."""
    points = bed_points_mm(table)
    return np.hypot(*(told.project(points) - real.project(points)).T)


@dataclass(frozen=True)
class Mover:
    """Moves one camera over its table in every way a mount can give."""

    camera: Camera
    table: Table

    def by_mm(self, rng: np.random.Generator, worst_mm: float) -> Camera:
        """A move that misplaces some place of the bed by ``worst_mm`` and none by more."""
        change = self._way(rng)
        scale = 1.0
        for _ in range(6):
            real = self._at(change * scale)
            scale *= worst_mm / misread_mm(self.camera, real, self.table).max()
        return self._at(change * scale)

    def by_px(self, rng: np.random.Generator, worst_px: float) -> Camera:
        """A move that shifts some place of the bed by ``worst_px`` and none by more."""
        change = self._way(rng)
        scale = 1.0
        for _ in range(6):
            scale *= worst_px / shaken_px(self.camera, self._at(change * scale), self.table).max()
        return self._at(change * scale)

    def _at(self, change: FloatArray) -> Camera:
        return varied(self.camera, dict(zip(POSE, (float(v) for v in change), strict=True)))

    def _way(self, rng: np.random.Generator) -> FloatArray:
        """Shifted, tilted, turned, or all of it with the height too."""
        height_mm = float(self.camera.position_mm[2])
        change = np.zeros(6)
        kind = int(rng.integers(4))
        if kind == 0:
            change[3:5] = rng.normal(size=2)
        elif kind == 1:
            change[:2] = rng.normal(size=2) / height_mm
        elif kind == 2:
            change[2] = rng.choice([-1.0, 1.0]) / 1000.0
        else:
            change[:] = rng.normal(size=6) / np.array([height_mm] * 3 + [1.0] * 3)
        return change

    def retaken(self, still: ImageArray, real: Camera) -> ImageArray:
        """``still`` as ``real`` would have taken it, exact for what lies at the rails' height."""
        height, width = still.shape[:2]
        u = np.arange(0, width + _CELL_PX, _CELL_PX, dtype=float)
        v = np.arange(0, height + _CELL_PX, _CELL_PX, dtype=float)
        grid = np.stack(np.meshgrid(u, v), axis=-1)
        rail_mm = self.table.rail_cap_height_mm
        flat = real.back_project(grid.reshape(-1, 2), rail_mm)
        old = self.camera.project(np.column_stack([flat, np.full(len(flat), rail_mm)]))
        off = (old.reshape(grid.shape) - grid).astype(np.float32)
        fine = [_between(_between(off[..., k], width).T, height).T for k in range(2)]
        columns = np.arange(width, dtype=np.float32)[None, :]
        rows = np.arange(height, dtype=np.float32)[:, None]
        return np.asarray(
            cv2.remap(
                still, fine[0] + columns, fine[1] + rows, cv2.INTER_LANCZOS4,
                borderMode=cv2.BORDER_REPLICATE,
            ),
            np.uint8,
        )  # fmt: skip


def _between(values: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """Linear interpolation of values at every cell to ``count`` pixels, along the last axis."""
    place = np.arange(count) / _CELL_PX
    first = np.minimum(place.astype(int), values.shape[1] - 2)
    part = (place - first).astype(np.float32)
    return np.asarray(values[:, first] * (1 - part) + values[:, first + 1] * part)


def as_taken(
    still: ImageArray,
    rng: np.random.Generator,
    *,
    gains: tuple[float, float, float] = (1.0, 1.0, 1.0),
    noise: float = 1.5,
    quality: int = 88,
) -> ImageArray:
    """Another exposure and white balance, fresh sensor noise, JPEG again."""
    light = still.astype(np.float32) * np.array(gains, np.float32)
    light += rng.standard_normal(still.shape, dtype=np.float32) * noise
    picture = np.clip(light, 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
