"""A ball's centre to sub-pixel: the crop network's answer carried to the table, with its error."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from vision.networks import Networks
from vision.still import Picture

from .crops import CropFrames, cut_crops

FAR_MM = 4.0
"""A ball found farther from where its crop was aimed is looked at again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """K candidates as the crop network sees them."""

    aim_mm: FloatArray
    """Where their crops were aimed, (K, 2), table frame."""
    centre_mm: FloatArray
    """(K, 2), table frame."""
    cov_mm2: FloatArray
    """What the picture leaves open, (K, 2, 2), table frame."""
    ball: FloatArray
    """Log odds that a ball lies there, (K,)."""
    names: FloatArray
    """Log probabilities of the sixteen names, (K, 16)."""
    embedding: FloatArray
    """(K, E)."""

    def taken(self, index: NDArray[np.intp] | NDArray[np.bool_] | list[int]) -> Placed:
        """The candidates of those indices."""
        which = np.asarray(index)
        which = which if which.dtype == bool else which.astype(int)
        return Placed(**{part.name: getattr(self, part.name)[which] for part in fields(self)})


def place_balls(
    picture: Picture, camera: Camera, start_mm: FloatArray, networks: Networks
) -> Placed:
    """Look at every start place (K, 2) mm of a still; again where a ball lies far from it."""
    aim = np.asarray(start_mm, dtype=float).reshape(-1, 2)
    placed = _looked_at(picture, camera, aim, networks)
    far = np.hypot(*(placed.centre_mm - aim).T) > FAR_MM
    if (far & (placed.ball > 0)).any():
        placed = _looked_at(
            picture, camera, np.where(far[:, None], placed.centre_mm, aim), networks
        )
    return placed


def _looked_at(picture: Picture, camera: Camera, aim_mm: FloatArray, networks: Networks) -> Placed:
    if len(aim_mm) == 0:
        none = np.zeros((0, 2))
        return Placed(
            aim_mm=none, centre_mm=none, cov_mm2=np.zeros((0, 2, 2)), ball=np.zeros(0),
            names=np.zeros((0, 16)), embedding=np.zeros((0, 1)),
        )  # fmt: skip
    frames = CropFrames.at(camera, aim_mm)
    said = networks.judge(cut_crops(picture, camera, frames))
    spread = np.linalg.inv(said.precision.astype(float))
    carried = frames.jacobian() @ spread
    cov = COV_SCALE * carried @ np.swapaxes(carried, 1, 2) + FLOOR_MM**2 * np.eye(2)
    return Placed(
        aim_mm=aim_mm, centre_mm=frames.to_table(said.offset_mm.astype(float)), cov_mm2=cov,
        ball=said.ball.astype(float), names=said.names.astype(float),
        embedding=said.embedding.astype(float),
    )  # fmt: skip


COV_SCALE = 1.12
"""Measured over stated variance on stills that were not trained on."""
FLOOR_MM = 0.05
"""Balls are built to ±0.127 mm in diameter, and lenses are known no better."""
