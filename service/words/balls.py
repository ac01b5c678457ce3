"""Balls and pockets by name, and how sure a ball's place is."""

from __future__ import annotations

import math

import numpy as np

from calibration.chi_square import PLANE_AXIS_95
from vision.layout import Ball

from .plain import NONE


def ball_name(ball: str) -> str:
    """``cue ball``, or ``3``'s full name, ``ball 3``."""
    return "cue ball" if ball == "cue" else f"ball {ball}"


def pocket_name(pocket: str | None) -> str:
    """``foot-left`` as read aloud: ``foot left``."""
    return (pocket or "").replace("-", " ")


def target(ball: str | None, pocket: str | None) -> str:
    """``3 → foot left``; a dash where no ball is named."""
    if ball is None:
        return NONE
    return f"{ball} → {pocket_name(pocket)}" if pocket else str(ball)


def error_95_mm(ball: Ball) -> float:
    """Larger half-axis of the ball's 95 % error ellipse, mm."""
    largest = float(np.linalg.eigvalsh(np.asarray(ball.cov_mm2, dtype=float))[-1])
    return PLANE_AXIS_95 * math.sqrt(max(largest, 0.0))
