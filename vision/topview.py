"""The still warped once to a top view: every table and camera then looks alike.

The plane is that of the ball centres, the scale is fixed, and the top view's rows and columns
run with the table frame (column along x, row along y).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import Camera
from calibration.plane_shift import plane_shift_px
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

FloatArray = NDArray[np.float64]
SCALE_MM = 2.0
"""Millimetres per top-view pixel: a ball is then 28 px wide, about what 1080p gives."""
MARGIN_MM = 70.0
"""Shown beyond the nose lines: a ball in a pocket's jaws with its outline."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopView:
    """Maps between table and top view, and the cached look-up from the still."""

    table: Table
    shape: tuple[int, int]
    """Rows, columns."""
    scale_mm: float
    margin_mm: float
    map_u: NDArray[np.float32] = field(repr=False)
    """Column in the still for each top-view pixel (rows, columns), float32."""
    map_v: NDArray[np.float32] = field(repr=False)

    @classmethod
    def of(
        cls,
        camera: Camera,
        table: Table,
        *,
        scale_mm: float = SCALE_MM,
        margin_mm: float = MARGIN_MM,
        height_mm: float = BALL_CENTRE_HEIGHT_MM,
    ) -> TopView:
        """The top view of one calibration; costs about 0.2 s, so keep it."""
        columns = int(np.ceil((table.length_mm + 2 * margin_mm) / scale_mm))
        rows = int(np.ceil((table.width_mm + 2 * margin_mm) / scale_mm))
        x = -margin_mm + (np.arange(columns) + 0.5) * scale_mm
        y = -margin_mm + (np.arange(rows) + 0.5) * scale_mm
        grid_x, grid_y = np.meshgrid(x, y)
        points = np.stack([grid_x, grid_y, np.full_like(grid_x, height_mm)], axis=-1)
        pixels = camera.project(points.reshape(-1, 3)).astype(np.float32)
        map_u = np.ascontiguousarray(pixels[:, 0].reshape(rows, columns))
        map_v = np.ascontiguousarray(pixels[:, 1].reshape(rows, columns))
        map_u.setflags(write=False)
        map_v.setflags(write=False)
        return cls(
            table=table, shape=(rows, columns), scale_mm=scale_mm, margin_mm=margin_mm,
            map_u=map_u, map_v=map_v,
        )  # fmt: skip

    def moved(self, told: Camera, real: Camera) -> TopView:
        """The same top view for a camera that has moved a little: some ms, against 0.2 s anew.

        ``told`` is the camera that this view was made for, at ball height.
        """
        rows, columns = self.shape
        x = -self.margin_mm + (np.arange(columns) + 0.5) * self.scale_mm
        y = -self.margin_mm + (np.arange(rows) + 0.5) * self.scale_mm
        right, down = plane_shift_px(told, real, x, y)
        right += self.map_u
        down += self.map_v
        return replace(self, map_u=right, map_v=down)

    def warp(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Still (H, W, 3) → top view (rows, columns, 3)."""
        out = cv2.remap(picture, self.map_u, self.map_v, cv2.INTER_LINEAR)
        return np.asarray(out, dtype=np.uint8)

    def seen(self, size_px: tuple[int, int]) -> NDArray[np.bool_]:
        """Which top-view pixels lie inside a picture of that width and height."""
        width, height = size_px
        inside = (self.map_u >= 0) & (self.map_u <= width - 1)
        return np.asarray(inside & (self.map_v >= 0) & (self.map_v <= height - 1))

    def to_view(self, points_mm: ArrayLike) -> FloatArray:
        """Table points (N, 2), mm → top-view column and row (N, 2), integer = pixel centre."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        return (points + self.margin_mm) / self.scale_mm - 0.5

    def to_table(self, pixels_px: ArrayLike) -> FloatArray:
        """Top-view column and row (N, 2) → table points (N, 2), mm."""
        pixels = np.asarray(pixels_px, dtype=float).reshape(-1, 2)
        return (pixels + 0.5) * self.scale_mm - self.margin_mm
