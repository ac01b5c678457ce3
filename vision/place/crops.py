"""Crops round balls, each seen along its own line of sight.

The crop's plane stands square to the line of sight through the start place at ball-centre
height, so a ball's outline there is a circle of one size on every table and under every camera,
its middle the ball's centre. The first axis points away from the lens's foot point, so cushion,
contact shadow and mirrored lamps lie alike from ball to ball.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.table import BALL_CENTRE_HEIGHT_MM

CROP_SIDE = 56
"""Pixels of a crop's side."""
CROP_STEP_MM = 1.5
"""Millimetres per crop pixel, about what 1080p over a 9 ft table gives."""
_KNOTS = 5
"""Places per side where the camera is asked; between them the view is smooth to 0.001 px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CropFrames:
    """Planes of K crops in the table frame, mm."""

    eye_mm: FloatArray
    """The lens, (3,)."""
    origin_mm: FloatArray
    """Middles: the start places at ball-centre height, (K, 3)."""
    away: FloatArray
    """First axes, unit, (K, 3)."""
    across: FloatArray
    """Second axes, unit, (K, 3)."""

    @classmethod
    def at(cls, camera: Camera, centres_mm: FloatArray) -> CropFrames:
        """Frames for start places (K, 2), mm."""
        eye = camera.position_mm
        flat = np.asarray(centres_mm, dtype=float).reshape(-1, 2)
        origin = np.column_stack([flat, np.full(len(flat), BALL_CENTRE_HEIGHT_MM)])
        view = origin - eye
        view /= np.linalg.norm(view, axis=1, keepdims=True)
        level = np.column_stack([flat - eye[:2], np.zeros(len(flat))])
        beneath = np.linalg.norm(level, axis=1) < 1.0
        level[beneath] = (1.0, 0.0, 0.0)
        away = level - (level * view).sum(axis=1, keepdims=True) * view
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        return cls(eye_mm=eye, origin_mm=origin, away=away, across=np.cross(view, away))

    def to_table(self, offsets_mm: FloatArray) -> FloatArray:
        """Offsets in the crop planes (K, 2), mm → ball centres in the table frame (K, 2), mm."""
        on_plane = self.origin_mm + offsets_mm[:, :1] * self.away + offsets_mm[:, 1:] * self.across
        ray = on_plane - self.eye_mm
        reach = (BALL_CENTRE_HEIGHT_MM - self.eye_mm[2]) / ray[:, 2]
        return np.asarray(self.eye_mm[:2] + reach[:, None] * ray[:, :2], dtype=float)

    def to_crop(self, centres_mm: FloatArray) -> FloatArray:
        """Ball centres (K, 2), mm, one a frame → offsets in the crop planes (K, 2), mm."""
        flat = np.asarray(centres_mm, dtype=float).reshape(-1, 2)
        ray = np.column_stack([flat, np.full(len(flat), BALL_CENTRE_HEIGHT_MM)]) - self.eye_mm
        axis = self.origin_mm - self.eye_mm
        far = np.linalg.norm(axis, axis=1)
        along = (ray * axis).sum(axis=1) / far
        from_middle = ray * (far / along)[:, None] - axis
        return np.stack(
            [(from_middle * self.away).sum(axis=1), (from_middle * self.across).sum(axis=1)], axis=1
        )

    def jacobian(self) -> FloatArray:
        """d(table x, y) / d(crop offsets) at the middles, (K, 2, 2), no unit."""
        axis = self.origin_mm - self.eye_mm
        slope = axis[:, :2] / axis[:, 2:]
        return np.stack([v[:, :2] - slope * v[:, 2:] for v in (self.away, self.across)], axis=-1)

    def places_px(self, camera: Camera, side: int, step_mm: float) -> NDArray[np.float32]:
        """Where each crop pixel lies in the still, (K, side, side, 2) u and v."""
        knots, spread = _spread(side)
        reach = (side - 1) / 2 * step_mm * knots
        first, second = (axis.ravel() for axis in np.meshgrid(reach, reach, indexing="xy"))
        points = (
            self.origin_mm[:, None]
            + first[:, None] * self.away[:, None]
            + second[:, None] * self.across[:, None]
        )
        pixels = camera.project(points.reshape(-1, 3)).reshape(len(points), -1, 2)
        places = spread @ pixels.astype(np.float32)
        return np.asarray(places.reshape(len(points), side, side, 2), dtype=np.float32)


@lru_cache(maxsize=4)
def _spread(side: int) -> tuple[FloatArray, NDArray[np.float32]]:
    """Knots in −1 … 1 and the polynomial spread from their grid to all pixels (side², knots²)."""
    knots = np.cos(np.pi * (np.arange(_KNOTS) + 0.5) / _KNOTS)[::-1]
    at = np.linspace(-1, 1, side)
    line = np.linalg.solve(
        np.vander(knots, increasing=True).T, np.vander(at, _KNOTS, increasing=True).T
    ).T
    return knots, np.kron(line, line).astype(np.float32)


def cut_crops(
    picture: NDArray[np.uint8],
    camera: Camera,
    frames: CropFrames,
    *,
    side: int = CROP_SIDE,
    step_mm: float = CROP_STEP_MM,
) -> NDArray[np.uint8]:
    """Crops (K, side, side, 3) of a still (H, W, 3): rows run across, columns away."""
    count = len(frames.origin_mm)
    if count == 0:
        return np.zeros((0, side, side, 3), np.uint8)
    places = frames.places_px(camera, side, step_mm).reshape(count * side, side, 2)
    out = cv2.remap(
        picture, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(out, dtype=np.uint8).reshape(count, side, side, 3)
