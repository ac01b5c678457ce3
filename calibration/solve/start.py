"""A first camera from landmarks alone, and the refusal of landmarks that cannot give one."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.lens.file import Lens
from calibration.seen.marks import Landmarks

FEWEST_LANDMARKS = 4
DEFAULT_FOCAL = 0.85
"""Focal length over the picture's longer side where nothing says better (about 61° of view)."""
_FOCAL_TRIALS = (0.55, 0.8, 1.15)
_NARROWEST_MM = 60.0
"""Landmarks whose scatter across their best line is below this are all but collinear."""


def check_landmarks(landmarks: Landmarks) -> None:
    """Refuse too few, non-finite, coincident, collinear or mirrored landmarks, by name.

    Raises:
        CalibrationError: they are.
    """
    names = [item.name for item in landmarks.items]
    if len(names) < FEWEST_LANDMARKS:
        raise CalibrationError(
            f"landmarks: got {len(names)} ({', '.join(names) or 'none'}); allowed: "
            f"{FEWEST_LANDMARKS} or more. Take the still of the whole empty table, sharp and "
            "evenly lit.",
            fields={"about": "landmarks"},
        )
    numbers = np.column_stack([landmarks.seen_px, landmarks.points_mm])
    bad = [name for name, row in zip(names, numbers, strict=True) if not np.all(np.isfinite(row))]
    if bad:
        raise CalibrationError(
            f"landmarks: got numbers that are not finite for {', '.join(bad)}; allowed: finite "
            "pixels and millimetres. Give these points again.",
            fields={"about": "landmarks", "names": bad},
        )
    for points, what in ((landmarks.points_mm[:, :2], "table"), (landmarks.seen_px, "picture")):
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False) / np.sqrt(len(names))
        narrowest = _NARROWEST_MM if what == "table" else 0.02 * max(landmarks.image_size_px)
        if spread[1] < narrowest:
            raise CalibrationError(
                f"landmarks: got points on one line of the {what} ({_some(names)}); allowed: "
                "points on both long and short sides. Add landmarks away from that line.",
                fields={"about": "landmarks"},
            )
    if _handedness(landmarks) > 0:
        raise CalibrationError(
            f"landmarks: got a mirrored table from {_some(names)}; allowed: the table as seen "
            "from above. Switch mirroring off in the camera, or correct the points' names.",
            fields={"about": "landmarks"},
        )


def start_cameras(landmarks: Landmarks, lens: Lens | None) -> list[Camera]:
    """Cameras to start the solve from: one with a lens, else one a trial focal length.

    Raises:
        CalibrationError: no camera above the table sees the landmarks so.
    """
    width, height = landmarks.image_size_px
    if lens is not None:
        return [_posed(landmarks, lens.matrix, lens.distortion)]
    cameras = []
    for trial in _FOCAL_TRIALS:
        focal_px = trial * max(width, height)
        matrix = np.array(
            [[focal_px, 0, (width - 1) / 2], [0, focal_px, (height - 1) / 2], [0, 0, 1.0]]
        )
        cameras.append(_posed(landmarks, matrix, (0.0,) * 5))
    return cameras


def _posed(landmarks: Landmarks, matrix: FloatArray, distortion: Sequence[float]) -> Camera:
    points = landmarks.points_mm.copy()
    plane_mm = float(points[:, 2].mean())
    points[:, 2] = 0.0
    found, rvec, tvec = cv2.solvePnP(
        points,
        landmarks.seen_px,
        matrix,
        np.asarray(distortion, float),
        flags=cv2.SOLVEPNP_IPPE,
    )
    rotation = np.asarray(cv2.Rodrigues(rvec)[0]) if found else np.eye(3)
    shift = np.asarray(tvec).ravel() - rotation @ np.array([0, 0, plane_mm])
    if not found or float((-rotation.T @ shift)[2]) <= 0:
        raise CalibrationError(
            f"landmarks: got no camera above the table from {_some(_names(landmarks))}; allowed: "
            "landmarks that one camera above the table can see so. Check the head side and the "
            "points' names.",
            fields={"about": "landmarks"},
        )
    turn = np.asarray(rvec).ravel()
    k1, k2, p1, p2, k3 = (float(k) for k in distortion)
    return Camera(
        image_size_px=landmarks.image_size_px,
        fx_px=float(matrix[0, 0]),
        fy_px=float(matrix[1, 1]),
        cx_px=float(matrix[0, 2]),
        cy_px=float(matrix[1, 2]),
        distortion=(k1, k2, p1, p2, k3),
        rvec=(float(turn[0]), float(turn[1]), float(turn[2])),
        tvec_mm=(float(shift[0]), float(shift[1]), float(shift[2])),
    )


def _handedness(landmarks: Landmarks) -> float:
    """Determinant of the best affine map table → picture; below 0 when seen from above."""
    flat = np.column_stack([landmarks.points_mm[:, :2], np.ones(len(landmarks.items))])
    affine, *_ = np.linalg.lstsq(flat, landmarks.seen_px, rcond=None)
    return float(np.linalg.det(affine[:2]))


def _names(landmarks: Landmarks) -> list[str]:
    return [item.name for item in landmarks.items]


def _some(names: Sequence[str], most: int = 6) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
