"""How large the error of a ball's place is in millimetres, by gauges, whatever is stated.

A gauge off by r, that hangs on its balls by a lever l (the sum of its squared directions) and is
known to t, has the variance l·s² + t². The s² of greatest likelihood is taken, so that a gauge
known poorly counts little. Stated errors only say how gauges hang together, which widens the
interval: where some are stated far too large or too small, the millimetres stay right.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri

from calibration.arrays import FloatArray

MOST_MM2 = 1e6


def spread_mm(
    off_mm: FloatArray, lever: FloatArray, built_mm: FloatArray, cov_mm2: FloatArray
) -> tuple[float, float, float]:
    """Error of a ball's place in one direction, 1 sigma, mm, with its 95 % interval.

    ``off_mm``, ``lever`` and ``built_mm`` are (N,): seen minus known, sum of squared directions,
    and how well it is known. ``cov_mm2`` (N, N) is what the N together are thought to vary by.
    """
    built = built_mm**2

    def slope(square: float) -> float:
        whole = lever * square + built
        return float(np.sum(lever * (off_mm**2 - whole) / whole**2))

    square = 0.0 if slope(0.0) <= 0 else float(brentq(slope, 0.0, MOST_MM2, xtol=1e-9))
    weight = lever / (lever * square + built) ** 2
    total = float(weight @ off_mm**2)
    # Satterthwaite's degrees of freedom of a weighted sum of squares that hang together
    freedom = float((weight @ np.diag(cov_mm2)) ** 2 / (weight @ cov_mm2**2 @ weight))

    def limit(share: float) -> float:
        known = total * freedom / float(chdtri(freedom, share)) - float(weight @ built)
        return float(np.sqrt(max(0.0, known) / float(weight @ lever)))

    return float(np.sqrt(square)), limit(0.025), limit(0.975)
