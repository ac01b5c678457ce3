"""From a pinhole picture to the recorded camera's picture, distortion and all.

A pinhole view with the same pose is rendered wide enough for every distorted pixel and finer
than wanted; each point of a twice finer target grid is traced through OpenCV's undistortion
to its pinhole place, sampled in linear light, and averaged 2×2. Pixel centres are integers in
our pictures; the pinhole picture's pixel i covers i … i+1, so its centre lies at i + 0.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from calibration.camera import Camera
from calibration.errors import CalibrationError
from vision.training.scenes.values import FloatArray

FloatPicture = NDArray[np.float32]
GRID_STEP_PX = 8
_UNDISTORT = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-12)
INVERTIBLE_PX = 0.01
"""Largest round-trip miss of pixel → ray → pixel that still counts as invertible."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinhole:
    """The wider, finer picture to render: its size, px, and its focal length, px.

    The optical axis meets it in its middle.
    """

    width_px: int
    height_px: int
    focal_px: float

    @property
    def field_deg(self) -> float:
        """Horizontal field of view."""
        return math.degrees(2 * math.atan(self.width_px / 2 / self.focal_px))


def normalised(camera: Camera, pixels_px: FloatArray) -> FloatArray:
    """Pixels (N, 2) → undistorted directions (x/z, y/z) in the camera, (N, 2)."""
    flat = cv2.undistortPoints(
        np.ascontiguousarray(pixels_px, dtype=np.float64).reshape(-1, 1, 2),
        camera.matrix, np.asarray(camera.distortion), criteria=_UNDISTORT,
    )  # fmt: skip
    return np.asarray(flat, dtype=float).reshape(-1, 2)


def border_px(camera: Camera, count: int = 64, beyond_px: float = 1.0) -> FloatArray:
    """Points round the picture's border, a little outside it, (4·count, 2)."""
    width, height = camera.image_size_px
    t = np.linspace(0, 1, count)
    low, right, bottom = -0.5 - beyond_px, width - 0.5 + beyond_px, height - 0.5 + beyond_px
    u, v = low + t * (right - low), low + t * (bottom - low)
    full = np.full(count, 1.0)
    return np.concatenate(
        [
            np.column_stack([u, full * low]),
            np.column_stack([u, full * bottom]),
            np.column_stack([full * low, v]),
            np.column_stack([full * right, v]),
        ]
    )


def check_invertible(camera: Camera) -> None:
    """Refuse a camera whose distortion cannot be undone over the whole picture.

    Raises:
        CalibrationError: it cannot.
    """
    width, height = camera.image_size_px
    u, v = np.meshgrid(np.linspace(-1, width, 25), np.linspace(-1, height, 17))
    pixels = np.column_stack([u.ravel(), v.ravel()])
    flat = normalised(camera, pixels)
    back, _ = cv2.projectPoints(
        np.column_stack([flat, np.ones(len(flat))]), np.zeros(3), np.zeros(3),
        camera.matrix, np.asarray(camera.distortion),
    )  # fmt: skip
    miss = float(np.abs(back.reshape(-1, 2) - pixels).max())
    slope = _radial_slope(camera, float(np.hypot(*flat.T).max()) * 1.05)
    if not miss < INVERTIBLE_PX or slope <= 0.05:
        raise CalibrationError(
            f"camera.distortion: got {camera.distortion}, which misses by {miss:.3g} px on the "
            f"way back (radial slope {slope:.2f}); allowed: one that can be undone over the "
            "whole picture. Choose weaker coefficients."
        )


def _radial_slope(camera: Camera, radius: float) -> float:
    """Least slope of distorted against undistorted radius up to ``radius``."""
    k1, k2, _, _, k3 = camera.distortion
    r2 = np.linspace(0, radius, 100) ** 2
    return float((1 + r2 * (3 * k1 + r2 * (5 * k2 + r2 * 7 * k3))).min())


def pinhole_for(camera: Camera, *, fineness: float = 2.0) -> Pinhole:
    """The pinhole picture that covers every pixel of ``camera`` at ``fineness`` × its scale."""
    check_invertible(camera)
    reach = np.abs(normalised(camera, border_px(camera))).max(axis=0)
    focal = camera.fx_px * fineness
    width, height = (2 * math.ceil(float(r) * focal + 3) for r in reach)
    return Pinhole(width_px=width, height_px=height, focal_px=focal)


def warp_maps(camera: Camera, pinhole: Pinhole) -> tuple[FloatPicture, FloatPicture]:
    """Where each point of the twice finer target grid lies in the pinhole picture.

    Two (2H, 2W) maps for ``cv2.remap``, whose integers are pixel centres. The undistortion
    is computed on a coarse grid and splined; it is smooth to well below a thousandth pixel.
    """
    width, height = camera.image_size_px
    coarse_u = np.linspace(-1, width, math.ceil(width / GRID_STEP_PX) + 3)
    coarse_v = np.linspace(-1, height, math.ceil(height / GRID_STEP_PX) + 3)
    u, v = np.meshgrid(coarse_u, coarse_v)
    flat = normalised(camera, np.column_stack([u.ravel(), v.ravel()]))
    fine_u = (np.arange(2 * width) + 0.5) / 2 - 0.5
    fine_v = (np.arange(2 * height) + 0.5) / 2 - 0.5
    maps = []
    for axis, size in ((0, pinhole.width_px), (1, pinhole.height_px)):
        grid = flat[:, axis].reshape(u.shape)
        spline = RectBivariateSpline(coarse_v, coarse_u, grid, kx=3, ky=3)
        maps.append((spline(fine_v, fine_u) * pinhole.focal_px + size / 2 - 0.5).astype(np.float32))
    return maps[0], maps[1]


def warp(picture: FloatPicture, maps: tuple[FloatPicture, FloatPicture]) -> FloatPicture:
    """Pinhole picture (linear light) → the camera's picture (H, W, 3), linear light."""
    fine = cv2.remap(picture, maps[0], maps[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = fine.shape[0] // 2, fine.shape[1] // 2
    return np.asarray(cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA), np.float32)
