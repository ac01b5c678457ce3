"""One ball's way from where it lies to where it belongs, and how sure it is that it is there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from calibration.chi_square import PLANE_AXIS_95
from calibration.table import PointMm
from vision.layout import Ball, Cov

SURE = 0.95
"""Chance from which a ball is surely within the tolerance; below 1 − this it surely is not."""
AXES = (("foot", "head"), ("left", "right"))
"""The rails toward which x and y grow, and those toward which they shrink."""
NODES, WEIGHTS = np.polynomial.legendre.leggauss(48)
_LEAST_SIGMA_MM = 1e-6
_STEP_SIGMAS = 4


@dataclass(frozen=True, kw_only=True)
class Move:
    """What one ball of the wanted layout has to do; lengths in mm, table frame."""

    ball: str
    """Its name in the wanted layout."""
    now: Ball
    """The ball on the table that is meant for the place."""
    to_mm: PointMm
    tolerance_mm: float

    @property
    def from_mm(self) -> PointMm:
        """Where it lies."""
        return self.now.centre_mm

    @property
    def way_mm(self) -> PointMm:
        """From where it lies to where it belongs."""
        return (self.to_mm[0] - self.now.x_mm, self.to_mm[1] - self.now.y_mm)

    @property
    def off_mm(self) -> float:
        """How far it lies from its place."""
        return math.hypot(*self.way_mm)

    @property
    def is_right(self) -> bool:
        """It lies within the tolerance, by what was read."""
        return self.off_mm <= self.tolerance_mm

    @property
    def error_mm(self) -> float:
        """Larger half axis of the reading's 95 % ellipse."""
        return error_95_mm(self.now.cov_mm2)

    @cached_property
    def chance(self) -> float:
        """Chance that the ball truly lies within the tolerance, by the reading's covariance."""
        return chance_within(self.way_mm, self.now.cov_mm2, self.tolerance_mm)

    @property
    def is_sure(self) -> bool:
        """The reading is good enough to say whether it stands right."""
        return self.chance >= SURE if self.is_right else self.chance <= 1 - SURE

    @property
    def is_renamed(self) -> bool:
        """Its name was in doubt, and it was taken for another ball than it reads as."""
        return self.ball != self.now.id

    @property
    def toward(self) -> tuple[tuple[str, float], ...]:
        """The rails to move it toward with the distance, the larger first."""
        parts = [
            (ends[0] if part > 0 else ends[1], abs(part))
            for part, ends in zip(self.way_mm, AXES, strict=True)
        ]
        return tuple(sorted(parts, key=lambda part: -part[1]))

    def to_dict(self, surface_mm: tuple[float, float]) -> dict[str, Any]:
        """JSON object; diamonds are eighths of the length, quarters of the width."""
        length, width = surface_mm
        diamond = {"foot": length / 8, "head": length / 8, "left": width / 4, "right": width / 4}
        return {
            "id": self.ball,
            "read_as": self.now.id,
            "from_mm": list(self.from_mm),
            "to_mm": list(self.to_mm),
            "off_mm": self.off_mm,
            "off_diamonds": self.off_mm / (length / 8),
            "toward": [
                {"rail": rail, "mm": mm, "diamonds": mm / diamond[rail]} for rail, mm in self.toward
            ],
            "error_mm": self.error_mm,
            "right": self.is_right,
            "sure": self.is_sure,
        }


def error_95_mm(cov: Cov) -> float:
    """Larger half axis of the 95 % ellipse of a covariance."""
    largest = float(np.linalg.eigvalsh(np.asarray(cov, dtype=float))[-1])
    return PLANE_AXIS_95 * math.sqrt(max(largest, 0.0))


def chance_within(way_mm: Sequence[float], cov: Cov, radius_mm: float) -> float:
    """Chance that a place known to ``cov`` lies within a circle whose middle is ``way_mm`` off.

    Integrated over the circle along the axes of the error ellipse.
    """
    variances, axes = np.linalg.eigh(np.asarray(cov, dtype=float))
    sigma = np.sqrt(np.maximum(variances, 0.0))
    if sigma[1] < _LEAST_SIGMA_MM:
        return float(math.hypot(*way_mm) <= radius_mm)
    across, along = map(float, np.abs(axes.T @ np.asarray(way_mm, dtype=float)))
    # only so far about the middle as either reaches, or a narrow error falls between the nodes
    low = max(-radius_mm, along - 8 * float(sigma[1]))
    high = min(radius_mm, along + 8 * float(sigma[1]))
    if low >= high:
        return 0.0
    narrow = max(float(sigma[0]), _LEAST_SIGMA_MM)
    # the circle's edge crosses the narrow way of the error there: a step between the nodes else
    edges = {
        side * math.sqrt(max(radius_mm**2 - h**2, 0.0))
        for h in (max(across + k * narrow, 0.0) for k in (-_STEP_SIGMAS, 0, _STEP_SIGMAS))
        for side in (-1, 1)
    }
    cuts = sorted({low, high, *(edge for edge in edges if low < edge < high)})
    total = 0.0
    for begin, end in pairwise(cuts):
        u = begin + (end - begin) * (NODES + 1) / 2
        half = np.sqrt(np.maximum(radius_mm**2 - u**2, 0.0))
        density = np.exp(-(((u - along) / sigma[1]) ** 2) / 2)
        share = [
            math.erf((h - across) / (narrow * math.sqrt(2)))
            - math.erf((-h - across) / (narrow * math.sqrt(2)))
            for h in half
        ]
        total += float((WEIGHTS * density * np.asarray(share)).sum()) * (end - begin) / 4
    total /= float(sigma[1]) * math.sqrt(2 * math.pi)
    return min(max(total, 0.0), 1.0)
