"""The cue ball's way, followed backward from where it stopped through the frames before rest.

Backward because its end is known to a fraction of a millimetre, and a ball near rest moves little
between frames; what it looks like there is what is looked for. Views are the darkest of the three
colours of each pixel: only white balls are bright in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, PointMm
from vision.find.finder_view import FinderView

Grey = NDArray[np.uint8]
NEAR_MM, SPEEDS = 25.0, 2.5
"""Searched about the place expected: so far, and so many times the way between two frames: before
a cushion or a ball took speed from it, it was faster."""
LOST_MM = 150.0
"""More for each frame in which it was not seen: under an arm, or struck away at speed."""
MOST_LOST = 3
LEAST_MATCH, SURE_MATCH = 0.55, 0.75
"""Correlation with a ball's disc; the second after it was lost."""
LEAST_CONTRAST = 0.5
"""Of the ball against its surroundings, beside that at its stop."""
OTHER_BALL_MM = 20.0
"""Nearer to the place of a ball that lay still all along it is that ball."""
ARRIVED_MM = 6.0
_MARGIN_PX = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One frame as it is kept while something moves."""

    at_s: float
    white: Grey = field(repr=False)
    """Top view (448, 832), the darkest of its colours."""


def white_of(view: NDArray[np.uint8]) -> Grey:
    """The darkest colour of each pixel of a view (H, W, 3)."""
    blue, green, red = cv2.split(view)
    return np.asarray(cv2.min(cv2.min(blue, green), red), dtype=np.uint8)


def follow(
    frames: Sequence[Seen],
    stop_mm: PointMm,
    view: FinderView,
    *,
    start_mm: PointMm | None = None,
    resting_mm: Sequence[PointMm] = (),
) -> tuple[FloatArray, FloatArray]:
    """Places (N, 2) mm and times (N,) s of the cue ball, in order of time, the stop last.

    ``frames`` end at rest. ``start_mm`` is where it lay before, ``resting_mm`` where other balls
    lay all along.
    """
    at = np.asarray(stop_mm, dtype=float)
    contrast = _contrast(frames[-1].white, view.to_view([at])[0]) if frames else 0.0
    places: list[FloatArray] = []
    times: list[float] = []
    lost = 0
    for frame in reversed(frames):
        guess, way = _expected(places, times, frame.at_s, at)
        reach = NEAR_MM + SPEEDS * way + LOST_MM * lost
        found = _found(
            frame.white, view, guess, reach, LEAST_CONTRAST * contrast,
            SURE_MATCH if lost else LEAST_MATCH, resting_mm,
        )  # fmt: skip
        if found is None:
            lost += 1
            if lost > MOST_LOST:
                break
            continue
        lost = 0
        places.append(found)
        times.append(frame.at_s)
        if start_mm is not None and _is_back(found, at, np.asarray(start_mm)):
            break
    return np.array(places[::-1]).reshape(-1, 2), np.array(times[::-1])


def _is_back(place: FloatArray, stop: FloatArray, start: FloatArray) -> bool:
    """Whether the way has been followed to its start; a ball that hardly moved is always near."""
    moved = np.hypot(*(stop - start)) > BALL_DIAMETER_MM
    return bool(moved and np.hypot(*(place - start)) < ARRIVED_MM)


def _expected(
    places: list[FloatArray], times: list[float], at_s: float, stop: FloatArray
) -> tuple[FloatArray, float]:
    """Where it should be at an earlier time, and how far that is from where it was seen last."""
    if len(places) < 2:
        return (places[-1] if places else stop), 0.0
    velocity = (places[-1] - places[-2]) / (times[-1] - times[-2])
    step = velocity * (at_s - times[-1])
    return places[-1] + step, float(np.hypot(*step))


def _found(
    white: Grey,
    view: FinderView,
    guess_mm: FloatArray,
    reach_mm: float,
    contrast: float,
    least: float,
    resting_mm: Sequence[PointMm],
) -> FloatArray | None:
    """Centre of the most ball-like bright disc about a place, (2,) mm."""
    disc = _disc(round(BALL_RADIUS_MM / view.scale_mm * 64))
    half = disc.shape[0] // 2
    middle, reach = view.to_view([guess_mm])[0], reach_mm / view.scale_mm
    low = np.floor(middle - reach).astype(int) - half
    high = np.ceil(middle + reach).astype(int) + half + 1
    left, top = np.maximum(low, 0)
    right, bottom = np.minimum(high, white.shape[::-1])
    if right - left < disc.shape[1] + 2 or bottom - top < disc.shape[0] + 2:
        return None
    part = white[top:bottom, left:right]
    match = np.asarray(cv2.matchTemplate(part, disc, cv2.TM_CCOEFF_NORMED), np.float32)
    rows, columns = np.indices(match.shape)
    far = np.hypot(columns + left + half - middle[0], rows + top + half - middle[1])
    match[far > reach] = -1.0
    for place in resting_mm:
        u, v = view.to_view([place])[0]
        near = np.hypot(columns + left + half - u, rows + top + half - v)
        match[near < OTHER_BALL_MM / view.scale_mm] = -1.0
    row, column = np.unravel_index(int(match.argmax()), match.shape)
    if match[row, column] < least:
        return None
    at = np.array(
        [column + _peak(match[row], int(column)), row + _peak(match[:, column], int(row))]
    )
    at += (left + half, top + half)
    if _contrast(white, at) < contrast:
        return None
    return np.asarray(view.to_table([at])[0])


def _peak(values: NDArray[np.float32], k: int) -> float:
    """Where between its neighbours a maximum lies, −0.5 … 0.5."""
    if not 0 < k < len(values) - 1:
        return 0.0
    a, b, c = (float(v) for v in values[k - 1 : k + 2])
    if min(a, c) <= -1.0 or a + c >= 2 * b:
        return 0.0
    return float(np.clip((a - c) / (2 * (a - 2 * b + c)), -0.5, 0.5))


def _contrast(white: Grey, at_px: FloatArray) -> float:
    """Grey levels of a ball's middle over those around it."""
    u, v = np.round(at_px).astype(int)
    part = white[max(v - 14, 0) : v + 15, max(u - 14, 0) : u + 15].astype(float)
    if part.size == 0:
        return 0.0
    rows, columns = np.indices(part.shape)
    far = np.hypot(columns - min(u, 14), rows - min(v, 14))
    return float(np.median(part[far < 6]) - np.median(part[far > 11]))


@lru_cache(maxsize=4)
def _disc(radius_64ths: int) -> Grey:
    """A bright disc with soft edges on dark, in a square a little larger."""
    radius = radius_64ths / 64
    half = int(np.ceil(radius)) + _MARGIN_PX
    at = np.arange(-half, half + 1)
    far = np.hypot(at[:, None], at[None])
    return np.asarray(255 * np.clip(radius + 0.75 - far, 0, 1.5) / 1.5, dtype=np.uint8)
