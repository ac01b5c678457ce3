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

    @property
    def all_white(self) -> bool:
        """Whether it looks like a cue ball; a stripe shows its band from every side."""
        return self.white > 0.92


NO_PAINT = (90.0, 0.0, 0.0)
"""``Look.paint`` of a ball that is white all over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class White:
    """Lit white paint in one still."""

    rgb: tuple[float, float, float]
    """Linear, in the units of ``sample_discs``."""
    seen: bool
    """Whether a ball shows it; else it is a neutral guess and colours are less sure."""


def sample_discs(
    tone: Float32, camera: Camera, cloth: Cloth, centres_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Linear RGB of places spread evenly over K discs, (K, M, 3), and their radii (M,).

    Brightness is relative: 1 is the bare cloth's mean there.
    """
    radius = np.sqrt((np.arange(RINGS) + 0.5) / RINGS) * WIDEST
    colour = []
    light = to_linear(cloth.at(centres_mm)).mean(axis=1)
    for centre in centres_mm:
        outline = camera.ball_outline((float(centre[0]), float(centre[1])), samples=ANGLES)
        middle = outline.mean(axis=0)
        places = middle + radius[:, None, None] * (outline - middle)
        flat = places.astype(np.float32)
        colour.append(cv2.remap(tone, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR))
    seen = to_linear(np.stack(colour)).reshape(len(centres_mm), RINGS * ANGLES, 3)[..., ::-1]
    return seen / light[:, None, None], np.repeat(radius, ANGLES)


def lamp_white(colour: FloatArray) -> White:
    """Lit white paint, from all balls' samples (K, M, 3).

    The ball whose upper half is brightest in its dimmest channel is the whitest: cue ball or
    stripe. Where that is too coloured or darker than cloth, no ball shows much white.
    """
    order = np.argsort(colour[..., 2], axis=1)
    count = colour.shape[1]
    middle = order[:, round(0.55 * count) : round(0.75 * count), None]
    level = np.median(np.take_along_axis(colour, middle, axis=1), axis=1)
    white = level[level.min(axis=1).argmax()]
    if white.min() >= _PALE * white.max() and white.mean() >= _BRIGHT:
        return White(rgb=(float(white[0]), float(white[1]), float(white[2])), seen=True)
    guess = max(float(np.percentile(colour.max(axis=2), 97)), 1.5 * _BRIGHT)
    return White(rgb=(guess, guess, guess), seen=False)


_PALE = 0.2
"""White in the warmest lamp light keeps this much of its red in blue."""
_BRIGHT = 1.15
"""White paint is brighter than any cloth by at least this."""


def looks(colour: FloatArray, radius: FloatArray, white: White) -> tuple[Look, ...]:
    """Features of K balls from their samples (K, M, 3), the samples' radii and lit white."""
    level = np.asarray(white.rgb)
    # usual fall of light from the middle of a white ball to its limb, measured on stills
    shade = 0.26 + 0.83 * np.sqrt(1 - radius**2)
    return tuple(_look(one / level / shade[:, None] * 0.85) for one in colour)


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
