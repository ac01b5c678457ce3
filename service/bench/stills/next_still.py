"""The still after a still: the same picture taken again, with one ball elsewhere.

Made from a still with known truth, for timing a reading that knows the one before: everything but
one ball stays, every pixel has new noise, and the file is packed again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.truth.file import TruthBall, TruthStill

ImageArray = NDArray[np.uint8]
NOISE = 1.0
"""New noise, one sigma, in grey values."""
QUALITY = 90
REACH = 1.7
"""What is carried with a ball, in its radii: its shadow too."""
SOFT = 0.25
"""Width of the carried disc's soft rim, in radii."""
CLEAR_MM = 4.6 * BALL_RADIUS_MM
"""Least distance of old and new place from each other, from other balls and from the noses."""
TRIES = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStill:
    """The later still and what moved in it."""

    data: bytes
    ball: str
    to_mm: tuple[float, float]
    balls: tuple[TruthBall, ...]
    """All balls as they lie in it."""


def with_one_moved(
    picture: ImageArray, truth: TruthStill, rng: np.random.Generator
) -> NextStill | None:
    """A later still of ``picture`` (H, W, 3); None where no ball stands free with room to go.

    Places swap: what lies around the ball goes to a bare place, and that goes where it was.
    """
    for ball in rng.permutation(np.array(truth.balls, dtype=object)):
        place = _bare_place(truth, ball, rng)
        if place is not None:
            break
    else:
        return None
    moved = _swapped(picture, truth, (ball.x_mm, ball.y_mm), place)
    noisy = moved + rng.normal(0, NOISE, moved.shape)
    taken = np.clip(np.rint(noisy), 0, 255).astype(np.uint8)
    packed = cv2.imencode(".jpg", taken, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1]
    there = replace(ball, x_mm=place[0], y_mm=place[1])
    return NextStill(
        data=packed.tobytes(),
        ball=ball.id,
        to_mm=place,
        balls=tuple(there if other is ball else other for other in truth.balls),
    )


def _bare_place(
    truth: TruthStill, ball: TruthBall, rng: np.random.Generator
) -> tuple[float, float] | None:
    """A place clear of all balls and cushions for a ball that stands as clear itself."""
    others = np.array([(b.x_mm, b.y_mm) for b in truth.balls if b is not ball]).reshape(-1, 2)
    size = np.asarray(truth.table.surface_mm)
    here = np.array([ball.x_mm, ball.y_mm])

    def clear(place: FloatArray) -> bool:
        inside = bool(((place > CLEAR_MM) & (place < size - CLEAR_MM)).all())
        return inside and bool((np.hypot(*(others - place).T) > CLEAR_MM).all())

    if ball.visible < 1 or not clear(here):
        return None
    for _ in range(TRIES):
        place = rng.uniform((0, 0), size)
        if clear(place) and np.hypot(*(place - here)) > CLEAR_MM:
            return float(place[0]), float(place[1])
    return None


def _swapped(
    picture: ImageArray,
    truth: TruthStill,
    one_mm: tuple[float, float],
    other_mm: tuple[float, float],
) -> FloatArray:
    """The picture with the discs about two places exchanged, whole pixels apart."""
    at_mm = np.array([(*place, BALL_CENTRE_HEIGHT_MM) for place in (one_mm, other_mm)])
    one, other = np.rint(truth.camera.project(at_mm)).astype(int)
    far_mm = float(np.linalg.norm(at_mm[0] - truth.camera.position_mm))
    radius = truth.camera.fx_px * BALL_RADIUS_MM / far_mm
    half = int(np.ceil(REACH * radius))
    rows, columns = np.mgrid[-half : half + 1, -half : half + 1]
    share = np.clip((REACH * radius - np.hypot(rows, columns)) / (SOFT * radius), 0, 1)[..., None]
    out = picture.astype(float)
    first, second = (out[v - half : v + half + 1, u - half : u + half + 1] for u, v in (one, other))
    if first.shape != second.shape or first.shape[:2] != rows.shape:
        return out
    change = share * (second - first)
    first += change
    second -= change
    return out
