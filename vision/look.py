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
RINGS = 10
WIDEST = 0.95
"""Share of the outline's radius that is looked at; the limb mirrors its surroundings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Features of one ball; shares are of its disc."""

    white: float
    """Share of white paint."""
    dark: float
    """Share that is nearly black."""
    paint: tuple[float, float, float]
    """CIE L*, a*, b* of the paint that is not white, in a light where lit white has L* 94."""


NO_PAINT = (90.0, 0.0, 0.0)
"""``Look.paint`` of a ball that is white all over."""


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
    """Linear RGB (3,) of lit white paint, from all balls' samples (K, M, 3).

    The ball whose upper half is brightest in its dimmest channel is the whitest: cue ball or
    stripe. With solids alone their number discs are the best there is.
    """
    order = np.argsort(colour[..., 2], axis=1)
    count = colour.shape[1]
    upper = np.take_along_axis(colour, order[:, round(0.55 * count) : round(0.75 * count), None], 1)
    level = np.median(upper, axis=1)
    white = level[level.min(axis=1).argmax()]
    if white.min() < _PALE * white.max():
        top = np.take_along_axis(
            colour, order[:, round(0.92 * count) : round(0.97 * count), None], 1
        )
        discs = np.median(top, axis=1)
        white = discs[discs.min(axis=1).argmax()]
    return np.maximum(white, 0.01)


_PALE = 0.2
"""White in the warmest lamp light keeps this much of its red in blue."""


def looks(colour: FloatArray, radius: FloatArray, white: FloatArray) -> tuple[Look, ...]:
    """Features of K balls from their samples (K, M, 3), the samples' radii and lit white."""
    # usual fall of light from the middle of a white ball to its limb, measured on stills
    shade = 0.26 + 0.83 * np.sqrt(1 - radius**2)
    return tuple(_look(one / white / shade[:, None] * 0.85) for one in colour)


def _look(clear: FloatArray) -> Look:
    lab = to_lab(np.clip(clear, 0, 1.6))
    light, chroma = lab[:, 0], np.hypot(lab[:, 1], lab[:, 2])
    pale = (light > 58) & (chroma < 20 + 0.25 * np.maximum(light - 70, 0))
    return Look(
        white=float(pale.mean()),
        dark=float(((light < 30) & (chroma < 18)).mean()),
        paint=_paint(lab[~pale], chroma[~pale]),
    )


def _paint(lab: FloatArray, chroma: FloatArray) -> tuple[float, float, float]:
    """Median colour of the paint; ink, dim edges and glare left out."""
    if len(lab) < 10:
        return NO_PAINT
    strong = chroma + 0.3 * lab[:, 0]
    low, high = np.percentile(strong, (35, 95))
    middle = np.median(lab[(strong >= low) & (strong <= high)], axis=0)
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
