"""A camera's parameters by name: vary them, and what that does to pixels.

One list of names serves the solve, the stored covariance and the error budget.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from .camera import Camera

FloatArray = NDArray[np.float64]

STEPS: Mapping[str, float] = {
    "turn_right_rad": 1e-4,
    "turn_down_rad": 1e-4,
    "turn_ahead_rad": 1e-4,
    "lens_x_mm": 0.1,
    "lens_y_mm": 0.1,
    "lens_z_mm": 0.1,
    "focal_px": 0.1,
    "fx_px": 0.1,
    "fy_px": 0.1,
    "cx_px": 0.1,
    "cy_px": 0.1,
    "k1": 1e-4,
    "k2": 1e-4,
    "p1": 1e-5,
    "p2": 1e-5,
    "k3": 1e-4,
}
"""Every camera parameter with a small step in its own unit.

Turns are about the camera's own axes (right, down, ahead) with the lens's place kept;
``focal_px`` moves both focal lengths together.
"""
POSE = ("turn_right_rad", "turn_down_rad", "turn_ahead_rad", "lens_x_mm", "lens_y_mm", "lens_z_mm")
SURFACE = ("length_mm", "width_mm")
"""The playing surface's own size, nose to nose."""
_SIDES = ("head", "foot", "left", "right")
DIMENSIONS = (
    "rail_cap_height_mm", "sight_offset_mm", "cushion_width_mm", "corner_mouth_mm",
    "side_mouth_mm", *(f"{edge}_{side}_mm" for edge in ("nose", "back") for side in _SIDES),
)  # fmt: skip
"""The table's dimensions that a solve may settle beside the camera."""
PARAMETERS = frozenset((*STEPS, *DIMENSIONS, *SURFACE))
"""Every name that a calibration's covariance may have."""
_DISTORTION = ("k1", "k2", "p1", "p2", "k3")


def varied(camera: Camera, change: Mapping[str, float]) -> Camera:
    """``camera`` with the named parameters changed by the given amounts."""
    turn = np.array([change.get(name, 0.0) for name in POSE[:3]])
    move_mm = np.array([change.get(name, 0.0) for name in POSE[3:]])
    rotation = np.asarray(cv2.Rodrigues(turn)[0]) @ camera.rotation
    rvec = np.asarray(cv2.Rodrigues(rotation)[0]).ravel()
    tvec = -rotation @ (camera.position_mm + move_mm)
    k1, k2, p1, p2, k3 = (
        value + change.get(name, 0.0)
        for name, value in zip(_DISTORTION, camera.distortion, strict=True)
    )
    focal = change.get("focal_px", 0.0)
    return replace(
        camera,
        fx_px=camera.fx_px + focal + change.get("fx_px", 0.0),
        fy_px=camera.fy_px + focal + change.get("fy_px", 0.0),
        cx_px=camera.cx_px + change.get("cx_px", 0.0),
        cy_px=camera.cy_px + change.get("cy_px", 0.0),
        distortion=(k1, k2, p1, p2, k3),
        rvec=(float(rvec[0]), float(rvec[1]), float(rvec[2])),
        tvec_mm=(float(tvec[0]), float(tvec[1]), float(tvec[2])),
    )


def sensitivity(camera: Camera, names: Sequence[str], points_mm: ArrayLike) -> FloatArray:
    """d(u, v)/d(parameter) at table points (N, 3), mm: (N, 2, len(names)), px per unit.

    A dimension of the table moves no pixel of a given place: its column is 0.
    """
    points = np.asarray(points_mm, dtype=float).reshape(-1, 3)
    out = np.zeros((len(points), 2, len(names)))
    for column, name in enumerate(names):
        step = STEPS.get(name)
        if step is None:
            continue
        ahead = varied(camera, {name: step}).project(points)
        behind = varied(camera, {name: -step}).project(points)
        out[:, :, column] = (ahead - behind) / (2 * step)
    return out
