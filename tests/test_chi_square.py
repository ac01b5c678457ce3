"""The points of chi-square that ellipses and intervals are scaled by are those of SciPy."""

from __future__ import annotations

import pytest
from scipy.stats import chi2

from calibration import chi_square


def test_points_are_the_quantiles_they_say() -> None:
    assert pytest.approx(chi2.ppf(0.95, 2), rel=1e-12) == chi_square.PLANE_95
    assert pytest.approx(chi2.ppf(0.95, 2) ** 0.5, rel=1e-12) == chi_square.PLANE_AXIS_95
    assert pytest.approx(chi2.ppf(0.95, 1), rel=1e-12) == chi_square.LINE_95
    assert pytest.approx(chi2.ppf(0.999, 6), rel=1e-12) == chi_square.POSE_999
