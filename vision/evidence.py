"""A still seen from above as distance from bare cloth: what finding and refusing work on."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from .cloth import Cloth, Float32, estimate_cloth, to_tone
from .still import Picture
from .topview import TopView

FOREIGN_SIGMAS = 5.0
"""Distance from cloth in any light from which a pixel is something else."""
BRIGHTEST = 1.25
DARKEST = 0.3
"""Tone ratios between which cloth lies in lamp light, glare and deep shadow."""
DARK_BALL = 0.6
"""Under this a pixel may also be a black ball: only a ball's contact shadow is as dark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One still's top view and its distance from bare cloth, all (rows, columns, …)."""

    view: TopView = field(repr=False)
    top: NDArray[np.uint8] = field(repr=False)
    """The top view itself, BGR: what a network would look at."""
    cloth: Cloth = field(repr=False)
    deviation: Float32 = field(repr=False)
    """Brightness and two chromas in sigmas, (rows, columns, 3)."""
    foreign: Float32 = field(repr=False)
    """1 where it is not cloth in any light, else 0."""
    unlike: Float32 = field(repr=False)
    """1 where it is foreign or as dark as a black ball, else 0."""


def gather(picture: Picture, view: TopView) -> Evidence:
    """Warp a still to the top view and compare it with the cloth estimated from it."""
    top = view.warp(picture)
    tone = to_tone(top)
    cloth = estimate_cloth(tone, view)
    deviation = cloth.deviation(cloth.ratio(tone))
    brightness, first, second = cv2.split(deviation)
    light = np.asarray(brightness, np.float32) * np.float32(cloth.light_sigma)
    away = difference(light, np.asarray(first), np.asarray(second), cloth.light_sigma)
    foreign = away > FOREIGN_SIGMAS
    return Evidence(
        view=view,
        top=top,
        cloth=cloth,
        deviation=deviation,
        foreign=foreign.astype(np.float32),
        unlike=(foreign | (light < DARK_BALL)).astype(np.float32),
    )


def difference(light: Float32, first: Float32, second: Float32, light_sigma: float) -> Float32:
    """How far pixels are from cloth in any light, in sigmas: chroma, too bright, too dark.

    ``light`` is the brightness ratio, ``first`` and ``second`` the chromas in sigmas.
    """
    # chroma noise shrinks with the light that falls on the cloth, but not to nothing
    scale = np.clip(light, 0.3, 1.0)
    away = np.sqrt(first * first + second * second) / scale
    away += np.maximum(light - BRIGHTEST, 0) * (1 / (0.5 * light_sigma + 0.02))
    away += np.maximum(DARKEST - light, 0) * 50.0
    return np.asarray(away, dtype=np.float32)
