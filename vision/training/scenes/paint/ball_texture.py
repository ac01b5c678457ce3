"""Ball textures: cube maps of solids, stripes, the eight and cue balls.

The six faces lie side by side (3 × 2) as ``solids.sphere_mesh`` counts them, edge texels on
the cube's edges. A stripe's band lies round the z axis; the numbers sit on it at ±y.
"""

from __future__ import annotations

import colorsys

import cv2
import numpy as np

from calibration.table import BALL_RADIUS_MM
from vision.layout import BALL_IDS
from vision.training.scenes.looks import BallLook
from vision.training.scenes.noise import layered_noise, to_bytes
from vision.training.scenes.shapes.solids import cube_directions
from vision.training.scenes.values import ByteArray, FloatArray, Rgb

from .numerals import PATCH_PX, number_patch

FACE_PX = 160
HEIGHT_PX = 2 * FACE_PX
WIDTH_PX = 3 * FACE_PX
ATLAS_SIDE = 4
"""A set's sixteen textures lie in an atlas of 4×4 tiles, in the order of ``BALL_IDS``."""

COLOURS: dict[int, Rgb] = {
    1: (0.95, 0.76, 0.10),
    2: (0.07, 0.20, 0.62),
    3: (0.80, 0.10, 0.10),
    4: (0.29, 0.13, 0.46),
    5: (0.93, 0.42, 0.08),
    6: (0.03, 0.38, 0.20),
    7: (0.45, 0.08, 0.12),
    8: (0.03, 0.03, 0.035),
}
_BROADCAST: dict[int, Rgb] = {4: (0.93, 0.45, 0.62), 7: (0.66, 0.47, 0.28)}
SCHEMES: dict[str, dict[int, Rgb]] = {
    "standard": {},
    "broadcast": _BROADCAST,
    "broadcast-lilac": {**_BROADCAST, 5: (0.66, 0.50, 0.80), 6: (0.16, 0.60, 0.34)},
}
"""Colours that differ from ``COLOURS``, by scheme."""
STRANGE_APART = 0.25
"""A strange colour is at least this far from every usual one, sRGB."""


def base_colour(look: BallLook, number: int) -> Rgb:
    """The colour of a number in this set, sRGB."""
    base = (number - 1) % 8 + 1 if number != 8 else 8
    if look.strange and base in _strange_ones(look):
        return _strange_colour(look, base)
    colour = SCHEMES[look.scheme].get(base, COLOURS[base])
    h, light, s = colorsys.rgb_to_hls(*colour)
    rng = np.random.default_rng((look.seed, base))
    h = (h + 0.008 * look.hue + rng.normal(0, 0.004)) % 1.0
    light = float(np.clip(light * (1 + 0.10 * look.shade + rng.normal(0, 0.03)), 0.01, 0.95))
    if look.recolour and base != 8:
        h = (h + look.recolour * rng.normal(0, 0.045)) % 1.0
        light = float(np.clip(light * np.exp(look.recolour * rng.normal(0, 0.35)), 0.02, 0.9))
        s = float(np.clip(s * np.exp(look.recolour * rng.normal(-0.1, 0.3)), 0.1, 1.0))
    light, s = light + 0.22 * look.faded * (0.7 - light), s * (1 - 0.45 * look.faded)
    return colorsys.hls_to_rgb(h, light, s)


def _strange_ones(look: BallLook) -> frozenset[int]:
    """Which paints, 1 … 7, are strange in this set."""
    order = np.random.default_rng((look.seed, 311)).permutation(7)[: look.strange]
    return frozenset(int(k) + 1 for k in order)


def _strange_colour(look: BallLook, base: int) -> Rgb:
    """A colour that no known set has, the same for a number and its stripe."""
    rng = np.random.default_rng((look.seed, 312, base))
    usual = np.array([*COLOURS.values(), *(c for s in SCHEMES.values() for c in s.values())])
    while True:
        hue, light, full = rng.random(), rng.uniform(0.15, 0.85), rng.uniform(0.15, 1.0)
        colour = colorsys.hls_to_rgb(hue, light, full)
        if np.linalg.norm(usual - colour, axis=1).min() > STRANGE_APART:
            return colour


def white_colour(look: BallLook) -> Rgb:
    """The set's white: ivory by degrees."""
    return (0.93, 0.92 - 0.025 * look.ivory, 0.90 - 0.16 * look.ivory)


def _directions() -> FloatArray:
    """Unit directions (H, W, 3) of the texels' centres."""
    faces = cube_directions(FACE_PX)
    return np.concatenate(
        [np.concatenate(list(faces[row : row + 3]), axis=1) for row in (0, 3)], axis=0
    )


_DIRECTIONS = _directions()


def ball_texture(look: BallLook, name: str) -> ByteArray:
    """The texture (320, 480, 3) of ball ``name`` (``cue`` or a number)."""
    white = np.asarray(white_colour(look))
    if name == "cue":
        out = np.tile(white, (HEIGHT_PX, WIDTH_PX, 1))
        if look.spotted_cue:
            _spots(out)
    else:
        number = int(name)
        colour = np.asarray(base_colour(look, number))
        if number <= 8:
            out = np.tile(colour, (HEIGHT_PX, WIDTH_PX, 1))
        else:
            high = np.abs(_DIRECTIONS[..., 2]) * BALL_RADIUS_MM
            # the band's edge softened over one texel
            share = np.clip((look.band_mm / 2 - high) / 0.28 + 0.5, 0, 1)[..., None]
            out = white + share * (colour - white)
        _number_discs(out, look, number, white)
    _wear(out, look, name)
    return to_bytes(out)


def ball_atlas(look: BallLook) -> ByteArray:
    """All sixteen balls' textures in one picture (4·320, 4·480, 3)."""
    tiles = [ball_texture(look, name) for name in BALL_IDS]
    rows = [np.concatenate(tiles[k : k + ATLAS_SIDE], axis=1) for k in range(0, 16, ATLAS_SIDE)]
    return np.concatenate(rows, axis=0)


def atlas_uv(uv: FloatArray, name: str) -> FloatArray:
    """A sphere's own uv (N, 2) moved into the ball's tile of the atlas.

    A face's edges fall on the centres of its edge texels, so nothing bleeds between faces.
    """
    row, column = divmod(BALL_IDS.index(name), ATLAS_SIDE)
    # uv of a face's far edge are whole numbers too: tell the face by vertex order
    per_face = len(uv) // 6
    face = np.repeat(np.arange(6), per_face)
    cell = np.column_stack([face % 3, face // 3])
    inside = (uv - cell) * (FACE_PX - 1) / FACE_PX + 0.5 / FACE_PX
    placed = (cell + inside) / np.array([3, 2])
    return np.asarray((placed + np.array([column, row])) / ATLAS_SIDE)


def _number_discs(out: FloatArray, look: BallLook, number: int, white: FloatArray) -> None:
    """Two white discs with the number, opposite each other on the equator."""
    radius = look.disc_mm / 2 / BALL_RADIUS_MM
    patch = number_patch(number).astype(np.float32)
    for side in (1.0, -1.0):
        d = _DIRECTIONS
        angle = np.arccos(np.clip(d[..., 1] * side, -1, 1))
        across = np.hypot(d[..., 0], d[..., 2])
        scale = angle / np.maximum(across, 1e-9) / radius
        u, v = -d[..., 0] * side * scale, -d[..., 2] * scale
        share = np.clip((radius - angle) / 0.01 + 0.5, 0, 1)[..., None]
        mapped = cv2.remap(
            patch,
            ((u + 1) / 2 * PATCH_PX - 0.5).astype(np.float32),
            ((v + 1) / 2 * PATCH_PX - 0.5).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        ink = (mapped * (angle < radius * 1.02))[..., None]
        face = white * (1 - ink) + 0.035 * ink
        out += share * (face - out)


def _spots(out: FloatArray) -> None:
    """Six red spots of a spotted cue ball."""
    red = np.array([0.78, 0.08, 0.10])
    for axis in range(3):
        for side in (1.0, -1.0):
            angle = np.arccos(np.clip(_DIRECTIONS[..., axis] * side, -1, 1))
            share = np.clip((0.165 - angle) / 0.01 + 0.5, 0, 1)[..., None]
            out += share * (red - out)


def _wear(out: FloatArray, look: BallLook, name: str) -> None:
    """Faint cloudiness and chalk dust."""
    key = 0 if name == "cue" else int(name)
    rng = np.random.default_rng((look.seed, 100 + key))
    cloud = layered_noise(rng, (HEIGHT_PX // 2, WIDTH_PX // 2), 60, 3)
    wide = cv2.resize(cloud, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_LINEAR)
    share = np.clip(np.asarray(wide) - 1.0 + 0.5 * look.dust, 0, 1)[..., None] * 0.5 * look.dust
    out += share * (np.array([0.55, 0.60, 0.66]) - out)
