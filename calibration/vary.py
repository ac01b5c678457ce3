"""A camera's parameters by name: vary them, and what that does to pixels.

One list of names serves the solve, the stored covariance and the error budget.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import ArrayLike

from .arrays import FloatArray
from .camera import Camera

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
    "rail_cap_height_mm", "nose_height_mm", "sight_offset_mm", "cushion_width_mm",
    "corner_mouth_mm", "side_mouth_mm",
    *(f"{edge}_{side}_mm" for edge in ("nose", "back") for side in _SIDES),
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
    slopes = _pose_slopes(camera, points)
    if any(name in STEPS and name not in POSE for name in names):
        slopes |= _lens_slopes(camera, points)
    for column, name in enumerate(names):
        if name in slopes:
            out[:, :, column] = slopes[name]
    return out


def _pose_slopes(camera: Camera, points_mm: FloatArray) -> dict[str, FloatArray]:
    """d(u, v)/d(pose), (N, 2) each."""
    by_place = camera.place_slopes(points_mm)
    rotation = camera.rotation
    right_mm, down_mm, ahead_mm = (points_mm @ rotation.T + np.asarray(camera.tvec_mm)).T[
        :, :, None
    ]
    by_right, by_down, by_ahead = np.moveaxis(by_place @ rotation.T, 2, 0)
    turns = (
        by_ahead * down_mm - by_down * ahead_mm,
        by_right * ahead_mm - by_ahead * right_mm,
        by_down * right_mm - by_right * down_mm,
    )
    moves = (-by_place[:, :, axis] for axis in range(3))
    return dict(zip(POSE, (*turns, *moves), strict=True))


def _lens_slopes(camera: Camera, points_mm: FloatArray) -> dict[str, FloatArray]:
    """d(u, v)/d(focal lengths, principal point, distortion), (N, 2) each."""
    x_mm, y_mm, z_mm = (points_mm @ camera.rotation.T + np.asarray(camera.tvec_mm)).T
    a, b = x_mm / z_mm, y_mm / z_mm
    r2 = a * a + b * b
    seen = camera.project(points_mm)
    zero, one = np.zeros(len(a)), np.ones(len(a))
    by_fx = (seen[:, 0] - camera.cx_px) / camera.fx_px
    by_fy = (seen[:, 1] - camera.cy_px) / camera.fy_px
    parts = {
        "focal_px": (by_fx, by_fy), "fx_px": (by_fx, zero), "fy_px": (zero, by_fy),
        "cx_px": (one, zero), "cy_px": (zero, one),
    }  # fmt: skip
    by_distortion = {
        "k1": (a * r2, b * r2), "k2": (a * r2**2, b * r2**2), "k3": (a * r2**3, b * r2**3),
        "p1": (2 * a * b, r2 + 2 * b * b), "p2": (r2 + 2 * a * a, 2 * a * b),
    }  # fmt: skip
    for name, (along_u, along_v) in by_distortion.items():
        parts[name] = (camera.fx_px * along_u, camera.fy_px * along_v)
    return {name: np.column_stack(pair) for name, pair in parts.items()}
