"""How far each mark of the rails lies from its place in a later still, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from calibration.kept.rail_marks import CHANNELS, HALF_SAMPLES, STEP_MM, RailMark

from .rail_strips import Strips

ImageArray = NDArray[np.uint8]

_LOWEST_SIGMA_MM = 0.04
"""Error of a shift, 1 sigma, however much alike: bilinear sampling and 8-bit JPEG."""
_LEAST_LIKENESS = 0.8
"""Least correlation with the empty still's profile at which a mark counts as seen."""
_WHITE, _DARK_PERCENT = 240.0, 20.0
"""Grey level from which a sample may be cut off; percentile that stands for a dark side."""
_FEW_CUT = 1
"""Samples of a profile's 25 that may be cut off beyond those of the empty still: glints."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Shifts (N,), mm, of the marks and which of them look as before."""

    shift_mm: FloatArray
    sigma_mm: FloatArray
    """Expected error of each shift, 1 sigma."""
    seen: BoolArray
    cut: BoolArray
    """Marks of which more than at calibration is cut off at white."""


class MarkSearch:
    """Looks for the marks' profiles in stills; keeps what only depends on them."""

    def __init__(self, marks: Sequence[RailMark]) -> None:
        self.channel = np.array([CHANNELS.index(mark.channel) for mark in marks], dtype=int)
        self.bare = np.array([mark.profile for mark in marks], dtype=float).reshape(
            len(marks), 2 * HALF_SAMPLES + 1
        )
        """Grey levels of the empty still."""
        self.profiles, self.sharpness = _normal(self.bare)

    def look(self, still_bgr: ImageArray, strips: Strips) -> Found:
        """Shift of every mark within the reach of ``strips``, from where these put it."""
        levels = strips.levels(still_bgr)[np.arange(strips.count), :, self.channel]
        middle = levels.shape[1] // 2
        here = levels[:, middle - HALF_SAMPLES : middle + HALF_SAMPLES + 1]
        cut = (here > _WHITE).sum(axis=1) > (self.bare > _WHITE).sum(axis=1) + _FEW_CUT
        likeness, sharpness = self._likenesses(levels, here, np.flatnonzero(cut))
        search = likeness.shape[1] // 2
        peak = np.argmax(likeness, axis=1)
        inner = np.clip(peak, 1, likeness.shape[1] - 2)
        row = np.arange(len(inner))
        before, at, after = (likeness[row, inner + step] for step in (-1, 0, 1))
        bend = np.minimum(before - 2 * at + after, -1e-9)
        part = 0.5 * (before - after) / bend
        seen = (peak == inner) & (at >= _LEAST_LIKENESS)
        # what does not look as before is noise, or a thing close by: either way error
        unlike = np.sqrt(np.maximum(1 - at**2, 0) / self.profiles.shape[1])
        sigma_mm = np.hypot(_LOWEST_SIGMA_MM, unlike / np.maximum(at, 0.1) / sharpness)
        shift_mm = (inner - search + np.clip(part, -1, 1)) * STEP_MM
        return Found(shift_mm=shift_mm, sigma_mm=sigma_mm, seen=seen, cut=cut)

    def _likenesses(
        self, levels: FloatArray, here: FloatArray, cut: NDArray[np.intp]
    ) -> tuple[FloatArray, FloatArray]:
        """Likeness (N, shifts) of the marks with ``levels`` (N, samples), and their sharpness.

        Where a brighter still is cut off at white, its edges seem to move. There the empty
        still's profile, brightened by what its dark side says and cut off too, may be more like.
        """
        likeness, sharpness = _likeness(levels, self.profiles), self.sharpness
        if not len(cut):
            return likeness, sharpness
        dark = [np.percentile(part[cut], _DARK_PERCENT, axis=1) for part in (here, self.bare)]
        gain = dark[0] / np.maximum(dark[1], 1.0)
        profiles, steep = _normal(np.minimum(self.bare[cut] * gain[:, None], 255.0))
        bright = _likeness(levels[cut], profiles)
        better = bright.max(axis=1) > likeness[cut].max(axis=1)
        likeness[cut[better]] = bright[better]
        sharpness = sharpness.copy()
        sharpness[cut[better]] = steep[better]
        return likeness, sharpness


def _normal(levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Profiles (N, samples) without mean and of length 1, and their sharpness (N,), 1/mm."""
    profiles = levels - levels.mean(axis=1, keepdims=True)
    length = np.linalg.norm(profiles, axis=1, keepdims=True)
    profiles = profiles / np.maximum(length, 1.0)
    sharpness = np.linalg.norm(np.gradient(profiles, STEP_MM, axis=1), axis=1)
    return profiles, np.maximum(sharpness, 1e-6)


def _likeness(levels: FloatArray, profiles: FloatArray) -> FloatArray:
    """Correlation (N, shifts) of each profile with the levels (N, samples) at every shift.

    Brightness and contrast drop out, so exposure and white balance do not matter.
    """
    width = profiles.shape[1]
    windows = np.lib.stride_tricks.sliding_window_view(levels, width, axis=1)
    product = np.einsum("nsw,nw->ns", windows, profiles)
    total = np.cumsum(np.pad(levels, ((0, 0), (1, 0))), axis=1)
    squares = np.cumsum(np.pad(levels**2, ((0, 0), (1, 0))), axis=1)
    mean = (total[:, width:] - total[:, :-width]) / width
    energy = squares[:, width:] - squares[:, :-width] - width * mean**2
    return np.asarray(product / np.sqrt(np.maximum(energy, 1.0)))
