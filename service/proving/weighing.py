"""How many times larger than stated errors are, by gauges, with an interval from chi-square.

The stated covariance of all gauges together is R (the picture's share, independent from ball to
ball, and the calibration's, common to all), what they are built to is T. The factor k is the one
for which rᵀ(k²R + T)⁻¹r is what chi-square expects; its limits are where that reaches the 2.5 and
97.5 % points. Contacts of a rack hang together, and R knows it: this is the fit of a lattice.
k weighs each gauge by its own stated error; the millimetres measured do not lean on what is stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri

from calibration.arrays import FloatArray
from calibration.kept.calibration import Calibration

from .gauges import Gauge
from .seen import SeenStill
from .spread import spread_mm

MOST_FACTOR = 1000.0
TELLS_NOTHING = 1e-3
"""A combination of gauges whose stated variance is a smaller part of how well it is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Measured against stated error of some gauges, 1 sigma in one direction, mm."""

    gauges: int
    independent: int
    """Degrees of freedom: combinations of gauges that say something about the error."""
    stated_mm: float
    """Root mean square of what is stated."""
    measured_mm: float
    """Root mean square of what is."""
    low_mm: float
    high_mm: float
    """95 % interval of the measured one."""
    factor: float
    """By how much stated errors are too small, each gauge against its own: not ``measured_mm``
    over ``stated_mm``, which a few large ones decide."""
    factor_low: float
    factor_high: float
    bias_mm: float
    """Mean of seen minus known: above 0 where balls were laid with gaps."""

    @property
    def too_small(self) -> bool:
        """Whether the stated error is proved too small, 97.5 %."""
        return self.factor_low > 1.0

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {**asdict(self), "too_small": self.too_small}


class Scales:
    """Weighs gauges of stills that were read with one calibration."""

    def __init__(self, seen: Sequence[SeenStill], made: Calibration) -> None:
        self._starts = np.cumsum([0, *(len(still) for still in seen)])
        places = [still.place_mm for still in seen] or [np.zeros((0, 2))]
        covs = [still.picture_cov_mm2 for still in seen] or [np.zeros((0, 2, 2))]
        self._picture = np.concatenate(covs)
        self._slopes = made.slopes_mm(np.concatenate(places))
        self._common = np.asarray(made.parameter_cov, dtype=float).reshape(
            self._slopes.shape[2:] * 2
        )

    def stated_mm(self, gauges: Sequence[Gauge]) -> FloatArray:
        """Stated sigma of each gauge's error, (N,), what it is built to left aside."""
        return np.sqrt(np.diag(self.covariance_mm2(gauges)))

    def covariance_mm2(self, gauges: Sequence[Gauge]) -> FloatArray:
        """Stated covariance of the gauges' errors, (N, N)."""
        lever = np.zeros((len(gauges), len(self._picture), 2))
        for row, gauge in enumerate(gauges):
            for (still, ball), direction in gauge.parts:
                lever[row, self._starts[still] + ball] += direction
        seen = np.einsum("nki,kij,mkj->nm", lever, self._picture, lever, optimize=True)
        common = np.einsum("nki,kip->np", lever, self._slopes, optimize=True)
        return np.asarray(seen + common @ self._common @ common.T)

    def figure(self, gauges: Sequence[Gauge]) -> Figure | None:
        """The figure of these gauges; None where they say nothing."""
        if not gauges:
            return None
        off = np.array([gauge.off_mm for gauge in gauges])
        built = np.array([gauge.built_mm for gauge in gauges])
        cov = self.covariance_mm2(gauges)
        size, turn = np.linalg.eigh(cov / np.outer(built, built))
        telling = size > TELLS_NOTHING
        if not telling.any():
            return None
        squares = (turn.T @ (off / built))[telling] ** 2
        size = size[telling]
        count = len(size)
        factor = _factor(squares, size, float(count))
        low = _factor(squares, size, float(chdtri(count, 0.025)))
        high = _factor(squares, size, float(chdtri(count, 0.975)))
        lever = np.array([sum(x * x + y * y for _, (x, y) in gauge.parts) for gauge in gauges])
        thought = factor**2 * cov + np.diag(built**2)
        measured_mm, low_mm, high_mm = spread_mm(off, lever, built, thought)
        return Figure(
            gauges=len(gauges),
            independent=count,
            stated_mm=float(np.sqrt(np.trace(cov) / lever.sum())),
            measured_mm=measured_mm,
            low_mm=low_mm,
            high_mm=high_mm,
            factor=factor,
            factor_low=low,
            factor_high=high,
            bias_mm=float(off.mean()),
        )


def _factor(squares: FloatArray, size: FloatArray, wanted: float) -> float:
    """k at which Σ squares / (k² size + 1) is as wanted; 0 where it is less even without error."""

    def over(k: float) -> float:
        return float(np.sum(squares / (k * k * size + 1.0))) - wanted

    if over(0.0) <= 0:
        return 0.0
    if over(MOST_FACTOR) >= 0:
        return MOST_FACTOR
    return float(brentq(over, 0.0, MOST_FACTOR, xtol=1e-6))
