"""Smooth random fields for textures."""

from __future__ import annotations

import cv2
import numpy as np

from .values import FloatArray


def smooth_noise(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: tuple[float, float]
) -> FloatArray:
    """Field (H, W) about −1…1 whose detail is about ``cell_px`` = (across rows, columns)."""
    rows = max(int(np.ceil(shape[0] / cell_px[0])) + 1, 2)
    columns = max(int(np.ceil(shape[1] / cell_px[1])) + 1, 2)
    small = rng.standard_normal((rows, columns)).astype(np.float32)
    field = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(field * 0.7, -2, 2))


def layered_noise(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, octaves: int = 4
) -> FloatArray:
    """Sum of octaves, each half as coarse and half as strong."""
    out = np.zeros(shape, np.float32)
    for k in range(octaves):
        cell = max(cell_px / 2**k, 1.0)
        out += smooth_noise(rng, shape, (cell, cell)) / 2**k
    return out / 1.5


def to_bytes(colour: FloatArray) -> np.ndarray:
    """sRGB floats 0…1 to uint8."""
    return np.asarray(np.clip(colour * 255 + 0.5, 0, 255), np.uint8)
