"""From linear light to a camera's JPEG: exposure, balance, blur, noise, tone, compression."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.training.scenes.looks import SensorLook
from vision.training.scenes.values import ByteArray, SceneError

from .processing import lamp_faults, lens_faults, processed

FloatPicture = NDArray[np.float32]
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
MIDDLE_GREY = 0.20
"""Where exposure puts the picture's own middle, linear."""
WHITE_LIMITS = ((99.3, 1.15), (99.9, 1.4))
"""Linear light that these percentiles of the picture may reach."""


def exposure_gain(picture: FloatPicture) -> float:
    """The gain an automatic exposure would choose for this linear picture."""
    red, green, blue = cv2.split(picture)
    brightest = np.maximum(np.maximum(red, green), blue)
    # a red or blue cloth would clip its own channel long before its luminance
    luminance = 0.5 * _luminance(picture) + 0.5 * brightest
    height, width = luminance.shape
    inner = luminance[height // 6 : -height // 6, width // 8 : -width // 8]
    # the log mean holds dark cloths up, the percentile keeps white balls from clipping
    middle = float(np.exp(cv2.log(np.maximum(inner, 1e-5)).mean()))
    whites = np.percentile(luminance, [p for p, _ in WHITE_LIMITS])
    bounds = [
        limit / max(float(white), 1e-6)
        for white, (_, limit) in zip(whites, WHITE_LIMITS, strict=True)
    ]
    target = MIDDLE_GREY * (middle / max(float(np.percentile(inner, 95)), 1e-6)) ** 0.3
    return min(target / middle, *bounds)


def develop(
    picture: FloatPicture, look: SensorLook, rng: np.random.Generator, *, gain: float
) -> ByteArray:
    """Linear RGB (H, W, 3) → 8-bit BGR of the same size, with this camera's faults."""
    gains = gain * look.exposure * np.array([look.red_gain, 1.0, look.blue_gain])
    light = picture * gains.astype(np.float32)
    light = np.minimum(light, 6.0) * _vignette(light.shape, look.vignette)
    light = lens_faults(light, look)
    if look.blur_px > 0:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), look.blur_px), np.float32)
    light = lamp_faults(light, look, rng)
    light = light + _noise(light, look.noise, rng)
    shown = _tone(np.maximum(_saturated(light, look.saturation), 0))
    shown = processed(shown, look)
    if look.sharpen > 0:
        soft = cv2.GaussianBlur(shown, (0, 0), 1.2)
        shown = shown + np.float32(look.sharpen) * (shown - soft)
    return np.asarray(np.clip(cv2.cvtColor(shown, cv2.COLOR_RGB2BGR) * 255 + 0.5, 0, 255), np.uint8)


def _luminance(picture: FloatPicture) -> FloatPicture:
    return np.asarray(cv2.transform(picture, LUMINANCE[None]), np.float32)


def _saturated(light: FloatPicture, amount: float) -> FloatPicture:
    """Colours moved away from their grey, which stays."""
    mix = amount * np.eye(3) + (1 - amount) * np.tile(LUMINANCE, (3, 1))
    return np.asarray(cv2.transform(light, mix.astype(np.float32)), np.float32)


@lru_cache(maxsize=4)
def _vignette(shape: tuple[int, ...], amount: float) -> FloatPicture:
    height, width = shape[:2]
    v, u = np.mgrid[0:height, 0:width].astype(np.float32)
    r2 = ((u - width / 2) ** 2 + (v - height / 2) ** 2) / ((width / 2) ** 2 + (height / 2) ** 2)
    return np.asarray((1 - amount * r2)[..., None], np.float32)


def _noise(light: FloatPicture, amount: float, rng: np.random.Generator) -> FloatPicture:
    """Shot and read noise, slightly smeared as a camera's own noise filter leaves it."""
    white = rng.standard_normal(light.shape, dtype=np.float32)
    smeared = cv2.GaussianBlur(white, (0, 0), 0.55) * 1.5
    sigma = amount * np.sqrt(0.15 + np.maximum(light, 0) * 2.2)
    return np.asarray(smeared * sigma, np.float32)


def _tone(light: FloatPicture) -> FloatPicture:
    """sRGB's curve with a soft shoulder: 1 and more rolls off towards white."""
    knee = np.float32(0.72)
    rolled = light.copy()
    bright = light > knee
    rolled[bright] = knee + (1 - knee) * (1 - np.exp(-(light[bright] - knee) / (1 - knee)))
    curve = np.float32(1.055) * np.asarray(cv2.pow(rolled, 1 / 2.4)) - np.float32(0.055)
    return np.asarray(np.where(rolled <= 0.0031308, 12.92 * rolled, curve), np.float32)


def jpeg(bgr: ByteArray, quality: int) -> bytes:
    """JPEG bytes.

    Raises:
        SceneError: the picture is none that can be encoded.
    """
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    if not done:
        raise SceneError(
            f"picture: got shape {bgr.shape} and type {bgr.dtype}, which cannot be encoded; "
            "allowed: uint8 (H, W, 3). Develop it again."
        )
    return bytes(data)


def to_dict(look: SensorLook) -> dict[str, Any]:
    """Plain JSON object of the faults."""
    return {name: getattr(look, name) for name in look.__dataclass_fields__}
