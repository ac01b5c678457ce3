"""Textures of wood, carpet, floor boards and concrete."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np

from vision.training.scenes.looks import FloorLook, RailLook
from vision.training.scenes.noise import layered_noise, smooth_noise, to_bytes
from vision.training.scenes.values import ByteArray, FloatArray


def wood_grain(rng: np.random.Generator, shape: tuple[int, int], rings: float) -> FloatArray:
    """Grain along the columns: stretched rings with pores, about −1…1."""
    warp = smooth_noise(rng, shape, (shape[0] / 3, shape[1] / 4))
    warp = warp + 0.35 * smooth_noise(rng, shape, (shape[0] / 12, shape[1] / 7))
    rows = np.linspace(0, 1, shape[0], dtype=np.float32)[:, None]
    phase = rings * (rows + 0.09 * warp)
    ring = 2 * np.abs((phase % 1.0) ** 1.6 - 0.5)
    fibre = smooth_noise(rng, shape, (1.5, 70)) + 0.7 * smooth_noise(rng, shape, (3, 160))
    pores = np.clip(smooth_noise(rng, shape, (1.2, 14)) - 0.85, 0, 1)
    return np.asarray(0.9 * (ring - 0.5) + 0.35 * fibre - 1.3 * pores, np.float32)


def rail_wood(look: RailLook) -> ByteArray:
    """Rail texture (512, 2048, 3), grain along the columns (1600 × 400 mm); laminate is plain."""
    rng = np.random.default_rng(look.seed)
    if look.material != "wood":
        speckle = 1 + 0.05 * rng.standard_normal((256, 1024, 1)).astype(np.float32)
        return to_bytes(np.asarray(look.colour, np.float32) * speckle)
    shape = (512, 2048)
    grain = wood_grain(rng, shape, float(rng.uniform(9, 16)))
    grain = np.asarray(cv2.GaussianBlur(grain, (0, 0), 0.7), np.float32)
    tint = layered_noise(rng, shape, 400, 2)
    colour = np.asarray(look.colour, np.float32)
    value = 1 + 0.17 * grain + 0.05 * tint
    warm = np.array([1.0, 0.93, 0.85], np.float32)
    out = colour * value[..., None] * (1 + 0.05 * grain[..., None] * (warm - 1))
    return to_bytes(out)


def floor_texture(look: FloorLook) -> tuple[ByteArray, float]:
    """Floor texture and the edge it covers, mm."""
    rng = np.random.default_rng(look.seed)
    if look.kind == "boards":
        return _boards(rng, look), 1600.0
    shape = (1024, 1024)
    colour = np.asarray(look.colour, np.float32)
    if look.kind == "carpet":
        tuft = rng.standard_normal(shape).astype(np.float32)
        tuft = cv2.GaussianBlur(tuft, (0, 0), 0.9) * 1.6
        value = 1 + 0.22 * tuft + 0.06 * layered_noise(rng, shape, 200, 3)
        fleck = (smooth_noise(rng, shape, (5, 5)) > 1.25).astype(np.float32) * 0.25
        return to_bytes(colour * value[..., None] + fleck[..., None] * 0.3), 1500.0
    value = 1 + 0.10 * layered_noise(rng, shape, 256, 6) + 0.03 * rng.standard_normal(shape)
    return to_bytes(colour * value[..., None].astype(np.float32)), 2400.0


def _boards(rng: np.random.Generator, look: FloorLook) -> ByteArray:
    """Boards along the columns with dark joints and shades of their own."""
    shape = (1024, 1024)
    rows = 9
    out = np.zeros((*shape, 3), np.float32)
    edges = np.linspace(0, shape[0], rows + 1).astype(int)
    for top, bottom in pairwise(edges):
        part = (bottom - top, shape[1])
        grain = wood_grain(rng, part, float(rng.uniform(2, 5)))
        shade = 1 + 0.14 * rng.standard_normal() + 0.13 * grain
        cut = int(rng.integers(100, shape[1] - 100))
        shade[:, cut:] *= 1 + 0.12 * rng.standard_normal()
        shade[:, cut : cut + 2] *= 0.45
        shade[:2] *= 0.45
        out[top:bottom] = np.asarray(look.colour, np.float32) * shade[..., None]
    return to_bytes(out)
