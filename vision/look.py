"""What a ball looks like inside its outline, freed of the room's light.

White paint (cue ball, stripes, number discs) fixes the light's colour, the bare cloth fixes how
its brightness varies over the bed.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

from .cloth import Cloth, Float32, to_linear

FloatArray = NDArray[np.float64]
ANGLES = 32
RINGS = 9
WIDEST = 0.92
"""Share of the outline's radius that is looked at; the limb mirrors its surroundings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Features of one ball; shares are of the disc without glare and hidden parts."""

    white: float
    """Share of white paint."""
    dark: float
    """Share that is nearly black."""
    coloured: float
    """Share of clear colour."""
    paint: tuple[float, float, float]
    """CIE L*, a*, b* of the paint that is not white, at the brightness of a lit white of 90."""


def sample_discs(
    tone: Float32, camera: Camera, cloth: Cloth, centres_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Linear RGB of places spread evenly over K discs, (K, M, 3), and their radii (M,).

    Brightness is divided by the bare cloth's there over its median on the bed.
    """
    radius = np.sqrt((np.arange(RINGS) + 0.5) / RINGS) * WIDEST
    colour = []
    usual = float(np.median(to_linear(cloth.cells).sum(axis=2)))
    light = to_linear(cloth.at(centres_mm)).sum(axis=1) / usual
    for centre in centres_mm:
        outline = camera.ball_outline((float(centre[0]), float(centre[1])), samples=ANGLES)
        middle = outline.mean(axis=0)
        places = middle + radius[:, None, None] * (outline - middle)
        flat = places.astype(np.float32)
        colour.append(cv2.remap(tone, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR))
    seen = to_linear(np.stack(colour)).reshape(len(centres_mm), RINGS * ANGLES, 3)[..., ::-1]
    return seen / light[:, None, None], np.repeat(radius, ANGLES)


def lamp_white(colour: FloatArray) -> FloatArray:
    """Linear RGB (3,) of lit white paint, from all balls' samples (K, M, 3)."""
    flat = colour.reshape(-1, 3)
    least, most = flat.min(axis=1), flat.max(axis=1)
    pale = flat[(least > 0.45 * most) & (most < 0.97)]
    if len(pale) < 20:
        return np.full(3, max(float(np.percentile(flat.max(axis=1), 98)), 0.05))
    bright = pale.mean(axis=1)
    top = np.percentile(bright, 90)
    return np.maximum(np.median(pale[bright > 0.6 * top], axis=0), 0.02)


def looks(colour: FloatArray, radius: FloatArray, white: FloatArray) -> tuple[Look, ...]:
    """Features of K balls from their samples (K, M, 3), the samples' radii and lit white."""
    return tuple(_look(one, radius, white) for one in colour)


def _look(colour: FloatArray, radius: FloatArray, white: FloatArray) -> Look:
    shade = 0.35 + 0.65 * np.sqrt(1 - radius**2)  # usual fall of light towards the limb
    clear = colour / white * 0.8
    lab = to_lab(clear / shade[:, None])
    light, chroma = lab[:, 0], np.hypot(lab[:, 1], lab[:, 2])
    saturated = colour.min(axis=1) > 0.9
    glare = saturated | (clear.min(axis=1) > 1.15)
    seen = ~glare
    pale = seen & (light > 55) & (chroma < 22 + 0.15 * (light - 55))
    dark = seen & (light < 32)
    paint = seen & ~pale
    total = max(int(seen.sum()), 1)
    return Look(
        white=float(pale.sum() / total),
        dark=float(dark.sum() / total),
        coloured=float((seen & (chroma > 25)).sum() / total),
        paint=_paint(lab[paint], chroma[paint], light[paint]),
    )


def _paint(lab: FloatArray, chroma: FloatArray, light: FloatArray) -> tuple[float, float, float]:
    """Median colour of the paint, ink and dim edges left out."""
    if len(lab) < 8:
        return (90.0, 0.0, 0.0)
    # the number's ink is darker and greyer than the paint about it
    strong = chroma + 0.5 * light
    keep = strong >= np.percentile(strong, 40)
    middle = np.median(lab[keep], axis=0)
    return (float(middle[0]), float(middle[1]), float(middle[2]))


_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def to_lab(linear_rgb: FloatArray) -> FloatArray:
    """Linear RGB (N, 3), white = 1 → CIE L*a*b* (N, 3), IEC 61966-2-1 primaries, D65."""
    xyz = linear_rgb @ _TO_XYZ.T / (_TO_XYZ @ np.ones(3))
    small = xyz <= (6 / 29) ** 3
    root = np.where(small, xyz / (3 * (6 / 29) ** 2) + 4 / 29, np.cbrt(np.maximum(xyz, 1e-9)))
    lightness = 116 * root[:, 1] - 16
    red_green = 500 * (root[:, 0] - root[:, 1])
    yellow_blue = 200 * (root[:, 1] - root[:, 2])
    return np.column_stack([lightness, red_green, yellow_blue])
