"""Does the cue ball touch a cushion or a ball."""

from __future__ import annotations

import math

import numpy as np

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.layout import Ball, Layout

from .path import SIGMAS
from .reach import rail_distances_mm

FROZEN_SLACK_MM = 0.5
"""A gap up to this, or up to 1.96 σ where that is more but at most 2 mm, counts as touching."""
FROZEN_SLACK_MOST_MM = 2.0


def is_frozen(cue: Ball, layout: Layout, table: Table) -> bool:
    """Whether the cue ball touches a cushion or a ball, as far as its error lets one tell."""
    sides = rail_distances_mm(np.asarray(cue.centre_mm), table)
    cov = np.asarray(cue.cov_mm2)
    for rail, distance in enumerate(sides):
        axis = rail // 2
        if float(distance) - FROZEN_INSET_MM <= _slack_mm(cov[axis, axis]):
            return True
    for ball in layout.balls:
        x, y = ball.x_mm - cue.x_mm, ball.y_mm - cue.y_mm
        gap = math.hypot(x, y) - BALL_DIAMETER_MM
        if ball.id == "cue" or gap > FROZEN_SLACK_MOST_MM:
            continue
        normal = np.array([x, y]) / math.hypot(x, y) if x or y else np.array([1.0, 0.0])
        variance = normal @ (cov + np.asarray(ball.cov_mm2)) @ normal
        if gap <= _slack_mm(float(variance)):
            return True
    return False


def _slack_mm(variance_mm2: float) -> float:
    spread = SIGMAS * max(variance_mm2, 0.0) ** 0.5
    return min(max(FROZEN_SLACK_MM, spread), FROZEN_SLACK_MOST_MM)
