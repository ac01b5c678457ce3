"""How a ball's outline looks on the plane of the ball centres: a circle drawn out radially.

Seen from the lens's foot point the outline is an ellipse: radius across the view, radius over
the cosine of the view's angle along it. Good to about 0.2 mm; exact outlines come from
``Camera.ball_outline``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """Outline ellipses at N places: the radial direction and the half-axis along it."""

    radial: FloatArray
    """Unit vectors away from the lens's foot point, (N, 2)."""
    stretch: FloatArray
    """Half-axis along the radial direction over the ball's radius, (N,), 1 or more."""

    @classmethod
    def at(cls, camera: Camera, points_mm: FloatArray) -> Footprint:
        """Footprints of balls centred at (N, 2) mm."""
        eye = camera.position_mm
        away = points_mm - eye[:2]
        distance = np.linalg.norm(away, axis=1)
        radial = np.where(
            distance[:, None] > 1e-6, away / np.maximum(distance, 1e-6)[:, None], [1.0, 0.0]
        )
        slope = distance / (eye[2] - BALL_CENTRE_HEIGHT_MM)
        return cls(radial=radial, stretch=np.sqrt(1 + slope**2))

    def reach(self, directions: FloatArray) -> FloatArray:
        """From the centre to the outline along unit directions (N, 2), mm."""
        along = (directions * self.radial).sum(axis=1)
        return BALL_RADIUS_MM / np.sqrt(1 - along**2 + (along / self.stretch) ** 2)

    def touch(self, normals: FloatArray) -> FloatArray:
        """From the centre to the outline's point with those outward normals, (N, 2) mm."""
        along = (normals * self.radial).sum(axis=1, keepdims=True)
        extra = (self.stretch**2 - 1)[:, None]
        return np.asarray(
            BALL_RADIUS_MM * (normals + extra * along * self.radial) / np.sqrt(1 + extra * along**2)
        )

    def norm(self, offsets_mm: FloatArray) -> FloatArray:
        """Offsets from the centres (N, 2) in outline radii: 1 on the outline, (N,)."""
        along = (offsets_mm * self.radial).sum(axis=1)
        across2 = np.maximum((offsets_mm**2).sum(axis=1) - along**2, 0)
        return np.asarray(np.sqrt(across2 + (along / self.stretch) ** 2) / BALL_RADIUS_MM)
