"""The finder's own top view: one size and scale for every table and camera.

The plane is that of the ball centres; the table lies in the middle and what surrounds it is
shown as it is, so the network always sees the same picture size.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RectBivariateSpline

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

VIEW_ROWS, VIEW_COLUMNS = 448, 832
"""Size of the picture, pixels; multiples of the network's coarsest step, 32."""
LEAST_SCALE_MM = 3.2
"""Millimetres per pixel, more only where a table is too long: a ball is then 18 px wide."""
MARGIN_MM = 60.0
"""Least strip shown beyond the nose lines: a ball in the jaws with its outline."""
_KNOT_STEP = 32
"""View pixels between exact places; the spline between them is true to 0.01 px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FinderView:
    """Look-up from the still and maps between view and table, for one calibration."""

    scale_mm: float
    corner_mm: tuple[float, float]
    """Table place of the first pixel's centre."""
    map_fixed: NDArray[np.int16] = field(repr=False)
    """Whole columns and rows in the still, (rows, columns, 2)."""
    map_part: NDArray[np.uint16] = field(repr=False)
    """What remains, in OpenCV's table of interpolation weights."""
    size_px: tuple[int, int]
    """Width and height of the still."""

    @classmethod
    def of(cls, camera: Camera, table: Table) -> FinderView:
        """The view of one calibration; keep it."""
        scale = max(
            LEAST_SCALE_MM,
            (table.length_mm + 2 * MARGIN_MM) / VIEW_COLUMNS,
            (table.width_mm + 2 * MARGIN_MM) / VIEW_ROWS,
        )
        corner = (
            table.length_mm / 2 - (VIEW_COLUMNS - 1) / 2 * scale,
            table.width_mm / 2 - (VIEW_ROWS - 1) / 2 * scale,
        )
        pixels = _projected(camera, scale, corner)
        fixed, part = cv2.convertMaps(pixels, np.empty(0), cv2.CV_16SC2)
        return cls(
            scale_mm=scale, corner_mm=corner, map_fixed=np.asarray(fixed, dtype=np.int16),
            map_part=np.asarray(part, dtype=np.uint16), size_px=camera.image_size_px,
        )  # fmt: skip

    def warp(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Still (H, W, 3) → view (448, 832, 3)."""
        out = cv2.remap(picture, self.map_fixed, self.map_part, cv2.INTER_LINEAR)
        return np.asarray(out, dtype=np.uint8)

    def shown(self, cell: int) -> NDArray[np.bool_]:
        """Which cells of so many pixels each way lie wholly in the still, (448, 832) / cell."""
        width, height = self.size_px
        u, v = self.map_fixed[..., 0], self.map_fixed[..., 1]
        inside = (u >= 0) & (v >= 0) & (u < width - 1) & (v < height - 1)
        blocks = inside.reshape(VIEW_ROWS // cell, cell, VIEW_COLUMNS // cell, cell)
        return np.asarray(blocks.all(axis=(1, 3)))

    def to_table(self, pixels_px: ArrayLike) -> FloatArray:
        """View columns and rows (N, 2), integer = pixel centre → table points (N, 2), mm."""
        pixels = np.asarray(pixels_px, dtype=float).reshape(-1, 2)
        return pixels * self.scale_mm + np.asarray(self.corner_mm)

    def to_view(self, points_mm: ArrayLike) -> FloatArray:
        """Table points (N, 2), mm → view columns and rows (N, 2)."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        return (points - np.asarray(self.corner_mm)) / self.scale_mm


def _projected(
    camera: Camera, scale_mm: float, corner_mm: tuple[float, float]
) -> NDArray[np.float32]:
    """Still pixels of every view pixel (rows, columns, 2), by way of a coarser exact grid."""
    across = np.append(np.arange(0, VIEW_COLUMNS, _KNOT_STEP), VIEW_COLUMNS).astype(float)
    down = np.append(np.arange(0, VIEW_ROWS, _KNOT_STEP), VIEW_ROWS).astype(float)
    x, y = np.meshgrid(across * scale_mm + corner_mm[0], down * scale_mm + corner_mm[1])
    points = np.stack([x, y, np.full_like(x, BALL_CENTRE_HEIGHT_MM)], axis=-1)
    knots = camera.project(points.reshape(-1, 3)).reshape(len(down), len(across), 2)
    columns, rows = np.arange(VIEW_COLUMNS), np.arange(VIEW_ROWS)
    out = np.empty((VIEW_ROWS, VIEW_COLUMNS, 2), np.float32)
    for k in range(2):
        out[..., k] = RectBivariateSpline(down, across, knots[..., k])(rows, columns)
    return out
