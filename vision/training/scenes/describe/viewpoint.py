"""Where a camera hangs so that table and rails fill the picture."""

from __future__ import annotations

import math

import cv2
import numpy as np

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.optics.lens_warp import check_invertible
from vision.training.scenes.values import FloatArray

UP = {
    "left": (0.0, 1.0, 0.0),
    "right": (0.0, -1.0, 0.0),
    "top": (-1.0, 0.0, 0.0),
    "bottom": (1.0, 0.0, 0.0),
}
"""Table direction that points up in the picture, by the side on which the head end lies."""


def rail_outline_mm(table: Table, count: int = 9) -> FloatArray:
    """Points round the rails' outer edge, (4·count, 3)."""
    out, cap = table.rail_width_mm, table.rail_cap_height_mm
    x = np.linspace(-out, table.length_mm + out, count)
    y = np.linspace(-out, table.width_mm + out, count)
    edges = [
        np.column_stack([x, np.full(count, -out)]),
        np.column_stack([x, np.full(count, table.width_mm + out)]),
        np.column_stack([np.full(count, -out), y]),
        np.column_stack([np.full(count, table.length_mm + out), y]),
    ]
    xy = np.concatenate(edges)
    return np.column_stack([xy, np.full(len(xy), cap)])


def aim_camera(
    table: Table,
    head: str,
    *,
    position_mm: tuple[float, float, float],
    image_size_px: tuple[int, int],
    fill: float,
    roll_deg: float = 0.0,
    centre_offset_px: tuple[float, float] = (0.0, 0.0),
    distortion: tuple[float, float, float, float, float] = (0.0,) * 5,
) -> Camera:
    """Camera at ``position_mm`` turned and zoomed so that the rails fill ``fill`` of the picture.

    The camera looks where the rails' outline comes out centred; ``fill`` is the share of the
    picture's tighter dimension that the outline spans.
    """
    outline = rail_outline_mm(table)
    width, height = image_size_px
    middle_px = np.array([(width - 1) / 2, (height - 1) / 2])
    target = np.array([table.length_mm / 2, table.width_mm / 2, 0.0])
    up = _rolled(UP[head], roll_deg)
    focal = 0.45 * width
    camera = None
    for _ in range(60):
        camera = Camera.looking(
            position_mm=position_mm, target_mm=tuple(target), up=tuple(up),
            image_size_px=image_size_px, focal_px=focal,
            centre_px=(middle_px[0] + centre_offset_px[0], middle_px[1] + centre_offset_px[1]),
            distortion=distortion,
        )  # fmt: skip
        px = _project_far(camera, outline)
        low, high = px.min(axis=0), px.max(axis=0)
        share = float(np.max((high - low) / [width, height]))
        off = (low + high) / 2 - middle_px
        focal *= (fill / share) ** 0.7
        scale = focal / math.dist(position_mm, tuple(target))
        shift = off / scale
        right, down = camera.rotation[0], camera.rotation[1]
        step = right * shift[0] + down * shift[1]
        target = target + 0.6 * np.array([step[0], step[1], 0.0])
        if abs(fill / share - 1) < 1e-4 and np.abs(off).max() < 0.5:
            break
    assert camera is not None
    check_invertible(camera)
    return camera


def _project_far(camera: Camera, points_mm: FloatArray) -> FloatArray:
    return np.asarray(camera.project(points_mm))


def _rolled(up: tuple[float, float, float], roll_deg: float) -> FloatArray:
    turn = cv2.Rodrigues(np.array([0.0, 0.0, math.radians(roll_deg)]))[0]
    return np.asarray(turn @ np.asarray(up))
