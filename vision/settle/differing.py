"""Whether two layouts are the same table: no ball gone, come or moved beyond its error."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linear_sum_assignment

from vision.layout import Ball, Layout

LEAST_MM = 2.0
"""Two readings of one ball differ by less, but for poor pictures."""
SIGMAS = 4.0


def lies_differently(before: Layout, after: Layout) -> bool:
    """Whether any ball lies elsewhere, whatever it is called."""
    if len(before.balls) != len(after.balls):
        return True
    if not before.balls:
        return False
    was = np.array([ball.centre_mm for ball in before.balls])
    now = np.array([ball.centre_mm for ball in after.balls])
    apart = np.linalg.norm(was[:, None] - now[None], axis=2)
    pairs = zip(*linear_sum_assignment(apart), strict=True)
    return any(_moved(before.balls[i], after.balls[j]) for i, j in pairs)


def _moved(was: Ball, now: Ball) -> bool:
    off = np.subtract(now.centre_mm, was.centre_mm)
    worst = np.linalg.eigvalsh(np.add(was.cov_mm2, now.cov_mm2)).max()
    # the calibration's own error is the same for both, so this is generous
    return bool(np.hypot(*off) > max(LEAST_MM, SIGMAS * np.sqrt(worst)))
