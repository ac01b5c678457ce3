"""A full camera: intrinsics, lens distortion and pose; table millimetres to pixels and back.

Pinhole with the five-coefficient polynomial distortion model of OpenCV (k1, k2, p1, p2, k3).
Coordinates: DEVELOPERS.md, "Coordinates". Pixels are (u, v), integers at pixel centres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike

from . import strict
from .arrays import FloatArray
from .errors import CalibrationError
from .strict import PicturePx, Positive, names_of
from .table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM

_UNDISTORT = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Pinhole camera with distortion and pose.

    A table point p maps to camera coordinates R(rvec)·p + tvec_mm: x right, y down, z ahead.
    """

    image_size_px: tuple[PicturePx, PicturePx]
    """Width and height."""
    fx_px: Positive
    fy_px: Positive
    cx_px: float
    cy_px: float
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    rvec: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Rotation table → camera as a Rodrigues vector, radians."""
    tvec_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def __post_init__(self) -> None:
        strict.check(self, label="camera", error=CalibrationError, remedy="Calibrate again.")

    # -- derived ---------------------------------------------------------------------------

    @property
    def matrix(self) -> FloatArray:
        """Intrinsic matrix K, (3, 3), px."""
        return np.array(
            [[self.fx_px, 0.0, self.cx_px], [0.0, self.fy_px, self.cy_px], [0.0, 0.0, 1.0]]
        )

    @property
    def rotation(self) -> FloatArray:
        """Rotation table → camera, (3, 3)."""
        return np.asarray(cv2.Rodrigues(np.asarray(self.rvec, dtype=float))[0], dtype=float)

    @property
    def position_mm(self) -> FloatArray:
        """The lens's place in the table frame, (3,), mm; z is its height above the bed."""
        return -self.rotation.T @ np.asarray(self.tvec_mm)

    @classmethod
    def looking(
        cls,
        *,
        position_mm: Sequence[float],
        target_mm: Sequence[float],
        up: Sequence[float],
        image_size_px: tuple[int, int],
        focal_px: float,
        centre_px: tuple[float, float] | None = None,
        distortion: Sequence[float] = (0.0, 0.0, 0.0, 0.0, 0.0),
    ) -> Camera:
        """Camera at ``position_mm`` that looks at ``target_mm``; ``up`` points up in the image.

        All three in the table frame. Without ``centre_px`` the principal point is the
        picture's middle.

        Raises:
            CalibrationError: ``up`` lies along the view, or a number is no camera's.
        """
        ahead = np.asarray(target_mm, float) - np.asarray(position_mm, float)
        ahead = ahead / np.linalg.norm(ahead)
        right = np.cross(ahead, np.asarray(up, float))
        if np.linalg.norm(right) < 1e-9:
            raise CalibrationError(
                f"camera.up: got {tuple(up)}, along the view; allowed: any other direction. "
                "Give the table direction that points up in the picture."
            )
        right = right / np.linalg.norm(right)
        rotation = np.stack([right, np.cross(ahead, right), ahead])
        rvec = cv2.Rodrigues(rotation)[0].ravel()
        tvec = -rotation @ np.asarray(position_mm, float)
        width, height = image_size_px
        cx, cy = centre_px or ((width - 1) / 2, (height - 1) / 2)
        k1, k2, p1, p2, k3 = (float(k) for k in distortion)
        return cls(
            image_size_px=(int(width), int(height)),
            fx_px=focal_px, fy_px=focal_px, cx_px=cx, cy_px=cy,
            distortion=(k1, k2, p1, p2, k3),
            rvec=(float(rvec[0]), float(rvec[1]), float(rvec[2])),
            tvec_mm=(float(tvec[0]), float(tvec[1]), float(tvec[2])),
        )  # fmt: skip

    # -- mapping ---------------------------------------------------------------------------

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Table points (N, 3), mm → pixels (N, 2)."""
        points = np.ascontiguousarray(np.asarray(points_mm, dtype=float).reshape(-1, 3))
        if len(points) == 0:
            return np.zeros((0, 2))
        image, _ = cv2.projectPoints(
            points, np.asarray(self.rvec), np.asarray(self.tvec_mm), self.matrix,
            np.asarray(self.distortion),
        )  # fmt: skip
        return np.asarray(image, dtype=float).reshape(-1, 2)

    def rays(self, pixels_px: ArrayLike) -> FloatArray:
        """Unit view directions (N, 3) in the table frame through pixels (N, 2)."""
        pixels = np.ascontiguousarray(np.asarray(pixels_px, dtype=float).reshape(-1, 2))
        if len(pixels) == 0:
            return np.zeros((0, 3))
        flat = cv2.undistortPoints(
            pixels.reshape(-1, 1, 2), self.matrix, np.asarray(self.distortion), criteria=_UNDISTORT
        ).reshape(-1, 2)
        camera = np.column_stack([flat, np.ones(len(flat))])
        camera = camera / np.linalg.norm(camera, axis=1, keepdims=True)
        return np.asarray(camera @ self.rotation, dtype=float)

    def back_project(
        self, pixels_px: ArrayLike, height_mm: float = BALL_CENTRE_HEIGHT_MM
    ) -> FloatArray:
        """Pixels (N, 2) → table x, y (N, 2) in mm on the plane z = ``height_mm``.

        NaN where the view ray does not meet the plane ahead of the camera.
        """
        rays = self.rays(pixels_px)
        origin = self.position_mm
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = (height_mm - origin[2]) / rays[:, 2]
        reach[~(np.isfinite(reach) & (reach > 0))] = np.nan
        return np.asarray(origin[:2] + reach[:, None] * rays[:, :2], dtype=float)

    def jacobian(
        self, points_mm: ArrayLike, height_mm: float = BALL_CENTRE_HEIGHT_MM
    ) -> FloatArray:
        """d(u, v)/d(x, y) in px per mm, (N, 2, 2), at table points (N, 2) of that height."""
        flat = np.asarray(points_mm, dtype=float).reshape(-1, 2)
        points = np.column_stack([flat, np.full(len(flat), float(height_mm))])
        return self.place_slopes(points)[:, :, :2]

    def place_slopes(self, points_mm: ArrayLike) -> FloatArray:
        """d(u, v)/d(x, y, z) in px per mm, (N, 2, 3), at table points (N, 3)."""
        points = np.asarray(points_mm, dtype=float).reshape(-1, 3)
        camera = points @ self.rotation.T + np.asarray(self.tvec_mm)
        x, y, z = camera.T
        a, b = x / z, y / z
        k1, k2, p1, p2, k3 = self.distortion
        r2 = a * a + b * b
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        slope = k1 + r2 * (2 * k2 + 3 * r2 * k3)
        # d(distorted)/d(a, b)
        daa = radial + 2 * a * a * slope + 2 * p1 * b + 6 * p2 * a
        dab = 2 * a * b * slope + 2 * p1 * a + 2 * p2 * b
        dbb = radial + 2 * b * b * slope + 6 * p1 * b + 2 * p2 * a
        rot = self.rotation
        da = (rot[0] - a[:, None] * rot[2]) / z[:, None]
        db = (rot[1] - b[:, None] * rot[2]) / z[:, None]
        out = np.empty((len(points), 2, 3))
        out[:, 0] = self.fx_px * (daa[:, None] * da + dab[:, None] * db)
        out[:, 1] = self.fy_px * (dab[:, None] * da + dbb[:, None] * db)
        return out

    def covariance_mm2(
        self,
        points_mm: ArrayLike,
        cov_px2: ArrayLike,
        height_mm: float = BALL_CENTRE_HEIGHT_MM,
    ) -> FloatArray:
        """Pixel covariances (2, 2) or (N, 2, 2) carried to the table at points (N, 2): mm²."""
        inverse = np.linalg.inv(self.jacobian(points_mm, height_mm))
        return np.asarray(
            inverse @ np.asarray(cov_px2, dtype=float) @ np.swapaxes(inverse, 1, 2), dtype=float
        )

    def ball_outline(
        self, centre_mm: Sequence[float], *, samples: int = 64, radius_mm: float = BALL_RADIUS_MM
    ) -> FloatArray:
        """Outline of a resting ball, pixels (samples, 2): the circle where view rays graze it.

        ``centre_mm`` is x, y; the centre's height is ``radius_mm``. Samples run evenly round
        the grazing circle, in a fixed sense.
        """
        centre = np.array([centre_mm[0], centre_mm[1], radius_mm])
        axis = centre - self.position_mm
        distance = float(np.linalg.norm(axis))
        axis /= distance
        back = radius_mm**2 / distance
        ring = radius_mm * np.sqrt(1 - (radius_mm / distance) ** 2)
        first = np.cross(axis, [0.0, 1.0, 0.0])
        if np.linalg.norm(first) < 1e-6:
            first = np.cross(axis, [1.0, 0.0, 0.0])
        first /= np.linalg.norm(first)
        second = np.cross(axis, first)
        angle = np.linspace(0, 2 * np.pi, samples, endpoint=False)[:, None]
        points = centre - back * axis + ring * (np.cos(angle) * first + np.sin(angle) * second)
        return self.project(points)

    # -- files -----------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, one key a field."""
        return {
            "image_size_px": list(self.image_size_px),
            "fx_px": self.fx_px,
            "fy_px": self.fy_px,
            "cx_px": self.cx_px,
            "cy_px": self.cy_px,
            "distortion": list(self.distortion),
            "rvec": list(self.rvec),
            "tvec_mm": list(self.tvec_mm),
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "camera") -> Camera:
        """Inverse of ``to_dict``; errors name the field by its path."""
        return strict.build(cls, data, path=path, label="camera", needed=names_of(cls))
