"""Where a blurred step lies in a brightness profile that also slopes and bends on both sides.

The steepest place of such a profile is pulled towards the side that falls away (a bed is darkest
right under its nose), by up to half a millimetre. Here the step is fitted: a parabola on each
side, jumping at the step, all blurred by the camera. For a fixed step and blur that is linear, so
its best squared error at every sample is one projection (variable projection, Golub & Pereyra
1973).
"""

from __future__ import annotations

import numpy as np
from scipy.special import erf

from calibration.arrays import FloatArray


def step_basis(half: int, step_mm: float, blur_mm: float) -> FloatArray:
    """Orthonormal basis (2 · half + 1, 6) of profiles with a step at the middle sample."""
    t = np.arange(-half, half + 1) * step_mm
    upper = 0.5 * (1 + erf(t / (np.sqrt(2) * blur_mm)))
    bell = np.exp(-0.5 * (t / blur_mm) ** 2) * blur_mm / np.sqrt(2 * np.pi)
    # a one-sided 1, t, t² under a Gaussian blur, in closed form
    one = upper
    ramp = t * upper + bell
    bend = (t**2 + blur_mm**2) * upper + t * bell
    scale = half * step_mm
    columns = np.column_stack(
        [
            np.ones_like(t), t / scale, (t / scale) ** 2,
            one, ramp / scale, bend / scale**2,
        ]
    )  # fmt: skip
    basis, _ = np.linalg.qr(columns)
    return np.asarray(basis, dtype=float)


def misfit(profiles: FloatArray, basis: FloatArray) -> FloatArray:
    """Squared error of the best step at every sample of profiles (n, samples): (n, samples).

    Infinite where the window does not fit.
    """
    width = len(basis)
    half = width // 2
    out = np.full(profiles.shape, np.inf)
    if profiles.shape[1] < width:
        return out
    windows = np.lib.stride_tricks.sliding_window_view(profiles, width, axis=1)
    windows = windows - windows.mean(axis=2, keepdims=True)
    explained = np.sum((windows @ basis) ** 2, axis=2)
    out[:, half : profiles.shape[1] - half] = np.sum(windows**2, axis=2) - explained
    return out


def lowest(errors: FloatArray, first: int, last: int) -> float | None:
    """Sub-sample place of the lowest error between two samples; None at the rim."""
    place = first + int(np.argmin(errors[first : last + 1]))
    if not first < place < last or not np.all(np.isfinite(errors[place - 1 : place + 2])):
        return None
    before, at, after = errors[place - 1 : place + 2]
    bend = before - 2 * at + after
    if bend <= 0:
        return None
    return place + 0.5 * float(before - after) / float(bend)
