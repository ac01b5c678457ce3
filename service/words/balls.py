"""Balls and pockets by name, and how sure a ball's place is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from calibration.chi_square import PLANE_AXIS_95
from vision.layout import Ball, Polygon

from .plain import NONE

if TYPE_CHECKING:
    from .lengths import Lengths


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


def hidden_words(hidden_mm: Sequence[Polygon], lengths: Lengths) -> str:
    """Where a ball could lie unseen, by the middle of each part."""
    middles = [np.mean(polygon, axis=0) for polygon in hidden_mm]
    places = " and ".join(lengths.place((float(x), float(y))) for x, y in middles)
    return f"A ball could lie unseen about {places}."
