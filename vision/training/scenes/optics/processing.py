"""What cheap lenses, flickering lamps and a camera's own processing do to a picture.

Every fault is off at its look's default, so that older recipes keep their stills.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.training.scenes.looks import SensorLook

Picture = NDArray[np.float32]
LUMINANCE = (0.2126, 0.7152, 0.0722)


def lens_faults(light: Picture, look: SensorLook) -> Picture:
    """Linear RGB (H, W, 3) with colour fringes, defocus and scattered light."""
    if look.fringe:
        light = _fringed(light, look.fringe)
    if look.defocus_px > 0.3:
        kernel = _disc_kernel(look.defocus_px)
        light = np.asarray(cv2.filter2D(light, -1, kernel), np.float32)
    if look.veil:
        small = cv2.resize(light, (64, 36), interpolation=cv2.INTER_AREA)
        wide = cv2.GaussianBlur(small, (0, 0), 14)
        spread = cv2.resize(wide, light.shape[1::-1], interpolation=cv2.INTER_LINEAR)
        light = (1 - look.veil) * light + np.float32(look.veil) * spread
    return np.asarray(light, np.float32)


def lamp_faults(light: Picture, look: SensorLook, rng: np.random.Generator) -> Picture:
    """Flicker bands of a rolling shutter, and a white balance that fits one side alone."""
    high, wide = light.shape[:2]
    if look.bands:
        turns, phase = rng.uniform(1.5, 6.0), rng.uniform(0, 2 * math.pi)
        rows = 1 + look.bands * np.sin(np.linspace(0, 2 * math.pi * turns, high) + phase)
        light = light * rows.astype(np.float32)[:, None, None]
    if look.tint_slope:
        across = np.linspace(-1, 1, wide, dtype=np.float32)[None, :, None]
        warm = np.array([1.0, 0.1, -1.0], np.float32) * np.float32(look.tint_slope)
        light = light * (1 + across * warm)
    return np.asarray(light, np.float32)


def processed(shown: Picture, look: SensorLook) -> Picture:
    """Shown RGB 0…1 after noise filter, tone curves and colour subsampling."""
    if look.denoise:
        shown = _smeared(shown, look.denoise)
    if look.local_tone:
        shown = _locally_toned(shown, look.local_tone)
    if look.contrast:
        bent = shown * shown * (3 - 2 * np.clip(shown, 0, 1))
        shown = shown + np.float32(look.contrast) * (bent - shown)
    if look.black:
        shown = np.maximum(shown - look.black, 0) / np.float32(1 - look.black)
    if look.chroma_px > 0.3:
        shown = _chroma_blurred(shown, look.chroma_px)
    return np.asarray(shown, np.float32)


def _fringed(light: Picture, share: float) -> Picture:
    """Red magnified and blue shrunk about the picture's middle."""
    high, wide = light.shape[:2]
    channels = list(cv2.split(light))
    for k, scale in ((0, 1 + share), (2, 1 - share)):
        matrix = np.array(
            [[scale, 0, (1 - scale) * (wide - 1) / 2], [0, scale, (1 - scale) * (high - 1) / 2]]
        )
        channels[k] = cv2.warpAffine(
            channels[k], matrix, (wide, high), flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
    return np.asarray(cv2.merge(channels), np.float32)


def _disc_kernel(radius_px: float) -> NDArray[np.float32]:
    reach = math.ceil(radius_px)
    v, u = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius_px + 0.5 - np.hypot(u, v), 0, 1).astype(np.float32)
    return np.asarray(disc / disc.sum(), np.float32)


def _smeared(shown: Picture, amount: float) -> Picture:
    """Edges kept and fine texture flattened, as noise filters of small cameras do."""
    sigma = 0.02 + 0.06 * amount
    flat = cv2.bilateralFilter(np.asarray(np.clip(shown, 0, 1.5), np.float32), 5, sigma, 2.0)
    return np.asarray(shown + np.float32(min(1.0, 0.4 + amount)) * (flat - shown), np.float32)


def _locally_toned(shown: Picture, amount: float) -> Picture:
    """Every place moved towards the middle against the mean of its surroundings."""
    grey = cv2.transform(shown, np.array([LUMINANCE], np.float32))
    small = cv2.resize(grey, (96, 54), interpolation=cv2.INTER_AREA)
    mean = cv2.resize(cv2.GaussianBlur(small, (0, 0), 6), grey.shape[1::-1])
    factor = (np.maximum(mean, 0.02) / 0.45) ** np.float32(-0.5 * amount)
    return np.asarray(shown * np.clip(factor, 0.5, 2.2)[..., None], np.float32)


def _chroma_blurred(shown: Picture, sigma_px: float) -> Picture:
    """The colour softer than the lightness, as coarse colour subsampling leaves it."""
    grey = cv2.transform(shown, np.array([LUMINANCE], np.float32))[..., None]
    colour = cv2.GaussianBlur(shown - grey, (0, 0), sigma_px)
    return np.asarray(grey + colour, np.float32)
