"""What the obvious way would give: four corners, one homography, no heights and no lens.

Only for comparison in the bench; nothing maps through it.
"""

from __future__ import annotations

import cv2
import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.kept.budget import bed_grid_mm
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table


def homography_error_mm(camera: Camera, table: Table, corner_height_mm: float = 0.0) -> FloatArray:
    """Error vectors (N, 2), mm, of a four-corner homography over the bed grid at ball height.

    The corners are where the nose lines meet, seen exactly by the true ``camera`` at
    ``corner_height_mm``: 0 for the bed beneath them, the nose height for what a person clicks.
    Where a ball's centre would be placed minus where it is, as in ``bed_error_mm``.
    """
    to_table = corner_homography(camera, table, corner_height_mm)
    grid = bed_grid_mm(table)
    balls_px = camera.project(np.column_stack([grid, np.full(len(grid), BALL_CENTRE_HEIGHT_MM)]))
    placed = cv2.perspectiveTransform(balls_px[:, None], to_table)[:, 0]
    return np.asarray(placed - grid, dtype=float)


def corner_homography(camera: Camera, table: Table, corner_height_mm: float = 0.0) -> FloatArray:
    """Homography (3, 3), pixels → table mm, by the bed's four corners seen exactly at a height."""
    length, width = table.surface_mm
    corners_mm = np.array([[0, 0], [length, 0], [length, width], [0, width]], dtype=np.float32)
    seen_px = camera.project(np.column_stack([corners_mm, np.full(4, corner_height_mm)]))
    found = cv2.getPerspectiveTransform(seen_px.astype(np.float32), corners_mm)
    return np.asarray(found, dtype=float)
