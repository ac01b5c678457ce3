"""Cloth textures: the bed's map with weave and wear, and the cushions' plain tile."""

from __future__ import annotations

import math

import cv2
import numpy as np

from calibration.table import Table
from vision.training.scenes.looks import ClothLook
from vision.training.scenes.noise import layered_noise, smooth_noise, to_bytes
from vision.training.scenes.values import ByteArray, FloatArray

BED_PX_PER_MM = 1.2
TILE_PX = 512


def _weave(rng: np.random.Generator, shape: tuple[int, int], amount: float) -> FloatArray:
    """Thread-like fine noise: short streaks both ways and grain."""
    grain = rng.standard_normal(shape).astype(np.float32)
    along = cv2.blur(rng.standard_normal(shape).astype(np.float32), (5, 1)) * 2.0
    across = cv2.blur(rng.standard_normal(shape).astype(np.float32), (1, 5)) * 2.0
    return np.asarray(amount * (0.6 * grain + 0.7 * along + 0.7 * across))


def bed_map(look: ClothLook, table: Table) -> ByteArray:
    """The bed's texture (H, W, 3): surface and 50 mm around it, row 0 at the left rail."""
    rng = np.random.default_rng(look.seed)
    k = BED_PX_PER_MM
    shape = (round((table.width_mm + 100) * k), round((table.length_mm + 100) * k))
    value = np.ones(shape, np.float32)
    value += look.mottle * layered_noise(rng, shape, 260 * k, 4)
    value += _weave(rng, shape, 0.018)
    pale = _tracks(rng, shape, look.tracks) + _worn(shape, look, table)
    chalk = _chalk(rng, shape, look.chalk)
    colour = np.asarray(look.colour, np.float32)
    grey = colour.mean()
    out = colour[None, None] * value[..., None]
    faded = 0.75 * colour + 0.25 * grey + 0.10
    out += np.clip(pale, 0, 0.8)[..., None] * (faded - out)
    dust = np.array([0.55, 0.66, 0.74], np.float32)
    out += np.clip(chalk, 0, 0.7)[..., None] * (dust - out)
    if look.print_share:
        _print(out, look)
    _marks(out, look, table, k)
    return to_bytes(out)


def _tracks(rng: np.random.Generator, shape: tuple[int, int], amount: float) -> FloatArray:
    """Faint paler lines where balls have rolled: straight runs and slight curves."""
    k = BED_PX_PER_MM
    layer = np.zeros(shape, np.uint8)
    for _ in range(int(70 * amount)):
        start = rng.uniform([0, 0], [shape[1], shape[0]])
        angle = rng.uniform(0, 2 * np.pi) + rng.normal(0, 0.15) * np.linspace(0, 1, 24)
        reach = rng.uniform(150, 1500) * k
        steps = np.column_stack([np.cos(angle), np.sin(angle)]) * reach / 24
        points = (start + np.cumsum(steps, axis=0)).astype(np.int32)
        strength = int(rng.uniform(8, 42))
        cv2.polylines(layer, [points], False, strength, int(rng.integers(2, 6)), cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(layer.astype(np.float32) / 255, (0, 0), 1.3 * k))


def _worn(shape: tuple[int, int], look: ClothLook, table: Table) -> FloatArray:
    """Rubbed places round the foot spot and where the cue ball starts (at a third the scale)."""
    rng = np.random.default_rng(look.seed + 1)
    k = BED_PX_PER_MM / 3
    layer = np.zeros((shape[0] // 3, shape[1] // 3), np.float32)
    one = np.zeros(layer.shape, np.uint8)
    for name, reach in (("foot", 110.0), ("head", 150.0)):
        x, y = table.spots_mm[name]
        for _ in range(int(26 * look.worn)):
            cx, cy = rng.normal([x, y], reach * 0.45)
            place = (round((cx + 50) * k), round((table.width_mm + 50 - cy) * k))
            one[:] = 0
            cv2.circle(one, place, int(rng.uniform(4, 30) * k) + 1, 255, -1, cv2.LINE_AA)
            layer += one * np.float32(rng.uniform(0.01, 0.04) / 255)
    soft = cv2.GaussianBlur(layer, (0, 0), 6 * k)
    return np.asarray(cv2.resize(soft, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR))


def _chalk(rng: np.random.Generator, shape: tuple[int, int], amount: float) -> FloatArray:
    """Chalk: small smudges and specks."""
    k = BED_PX_PER_MM
    layer = np.zeros(shape, np.uint8)
    for _ in range(int(80 * amount)):
        x, y = rng.uniform([0, 0], [shape[1], shape[0]])
        axes = (int(rng.uniform(1, 9) * k) + 1, int(rng.uniform(1, 4) * k) + 1)
        turn, strength = float(rng.uniform(0, 180)), int(rng.uniform(12, 80))
        cv2.ellipse(layer, (int(x), int(y)), axes, turn, 0, 360, strength, -1, cv2.LINE_AA)
    return np.asarray(cv2.GaussianBlur(layer.astype(np.float32) / 255, (0, 0), 1.5 * k))


def _print(out: FloatArray, look: ClothLook) -> None:
    """A printed pattern: rings, bars and leaves of one or two colours about the bed's middle."""
    rng = np.random.default_rng(look.seed + 3)
    k = BED_PX_PER_MM
    high, wide = out.shape[:2]
    middle = np.array([wide / 2, high / 2])
    for _ in range(int(rng.integers(1, 3))):
        colour = rng.uniform(0.02, 0.95, 3).astype(np.float32)
        mask = np.zeros((high, wide), np.uint8)
        for _ in range(int(rng.integers(2, 14))):
            at = middle + rng.normal(0, 1, 2) * [wide * 0.16, high * 0.16]
            place = (int(at[0]), int(at[1]))
            reach = float(rng.uniform(20, 260)) * k
            axes = (int(reach), int(reach * rng.uniform(0.15, 1.0)))
            turn, line = float(rng.uniform(0, 180)), int(rng.uniform(4, 40) * k)
            filled = -1 if rng.random() < 0.3 else line
            if rng.random() < 0.75:
                cv2.ellipse(mask, place, axes, turn, 0, 360, 255, filled, cv2.LINE_AA)
            else:
                away = np.array([math.cos(turn), math.sin(turn)]) * reach
                end = (int(at[0] + away[0]), int(at[1] + away[1]))
                cv2.line(mask, place, end, 255, line, cv2.LINE_AA)
        out += look.print_share * mask[..., None].astype(np.float32) / 255 * (colour - out)


def _marks(out: FloatArray, look: ClothLook, table: Table, k: float) -> None:
    """Spot sticker and head string, where the look has them; drawn at 1/16 px."""

    def place(x_mm: float, y_mm: float) -> tuple[int, int]:
        u, v = (x_mm + 50) * k - 0.5, (table.width_mm + 50 - y_mm) * k - 0.5
        return (round(u * 16), round(v * 16))

    if look.spot_sticker:
        x, y = table.spots_mm["foot"]
        mask = np.zeros(out.shape[:2], np.uint8)
        cv2.circle(mask, place(x, y), round(11 * k * 16), 255, -1, cv2.LINE_AA, 4)
        out += mask[..., None].astype(np.float32) / 255 * (np.float32(0.04) - out)
    if look.head_string:
        (x0, y0), (x1, y1) = table.strings_mm["head"]
        mask = np.zeros(out.shape[:2], np.uint8)
        cv2.line(mask, place(x0, y0), place(x1, y1), 255, 2, cv2.LINE_AA, 4)
        out += mask[..., None].astype(np.float32) / 255 * 0.35 * (np.float32(0.75) - out)


def cushion_tile(look: ClothLook) -> ByteArray:
    """A tile of plain cloth, repeated along the cushions."""
    rng = np.random.default_rng(look.seed + 2)
    shape = (TILE_PX, TILE_PX)
    value = 1.0 + _weave(rng, shape, 0.018) + 0.015 * smooth_noise(rng, shape, (64, 64))
    out = np.asarray(look.colour, np.float32)[None, None] * value[..., None]
    return to_bytes(out)


CLOTHS: dict[str, tuple[float, float, float]] = {
    "green": (0.09, 0.36, 0.20),
    "english-green": (0.12, 0.42, 0.17),
    "blue-green": (0.04, 0.40, 0.42),
    "tournament-blue": (0.16, 0.42, 0.60),
    "electric-blue": (0.10, 0.34, 0.66),
    "navy": (0.10, 0.17, 0.34),
    "grey-blue": (0.36, 0.45, 0.53),
    "burgundy": (0.38, 0.09, 0.13),
    "red": (0.55, 0.10, 0.11),
    "tan": (0.62, 0.52, 0.37),
    "charcoal": (0.21, 0.21, 0.22),
    "purple": (0.27, 0.15, 0.42),
    "olive": (0.33, 0.35, 0.17),
}
"""Cloth colours, sRGB."""
