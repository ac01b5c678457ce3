"""What solid balls cannot do: lie nearer to each other than a diameter, or inside a cushion.

Fitted places that break this by their errors are moved by the least, in proportion to their
covariances, like a measurement of the gap. Covariances are left as they are.
"""

from __future__ import annotations

import numpy as np

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table

SLACK_MM = 0.25
"""Balls are built ±0.127 mm, noses less exactly; calibration scales both a little."""
ROUNDS = 30
FARTHEST_MM = 1.5
"""No ball is moved more than this and its own sigma; a worse overlap is a wrong fit."""
MOST_MM = 8.0


def keep_apart(centres_mm: FloatArray, cov_mm2: FloatArray, table: Table) -> FloatArray:
    """Centres (K, 2) moved so that no balls overlap and none is inside a cushion.

    ``cov_mm2`` is (K, 2, 2). Balls in the mouth of a pocket are not held by the noses.
    """
    out = np.array(centres_mm, dtype=float)
    if len(out) < 1:
        return out
    walls = _walls(out, table)
    first, second = np.triu_indices(len(out), 1)
    near = np.linalg.norm(out[first] - out[second], axis=1) < 1.5 * BALL_DIAMETER_MM
    pairs = list(zip(first[near], second[near], strict=True))
    for _ in range(ROUNDS):
        moved = _part_pairs(out, cov_mm2, pairs) + _leave_walls(out, cov_mm2, walls)
        if moved < 1e-3:
            break
    # a wrong fit must not push its neighbours about
    sigma = np.sqrt(np.trace(cov_mm2, axis1=1, axis2=2) / 2)
    limit = np.minimum(FARTHEST_MM + sigma, MOST_MM)[:, None]
    move = out - centres_mm
    far = np.linalg.norm(move, axis=1, keepdims=True)
    return np.asarray(centres_mm + move * np.minimum(1.0, limit / np.maximum(far, 1e-9)))


def _part_pairs(
    centres: FloatArray, cov: FloatArray, pairs: list[tuple[np.intp, np.intp]]
) -> float:
    """Move overlapping pairs apart in place; the longest gap closed, mm."""
    most = 0.0
    for i, j in pairs:
        between = centres[j] - centres[i]
        distance = float(np.linalg.norm(between))
        lacking = BALL_DIAMETER_MM - SLACK_MM - distance
        if lacking <= 0 or distance < 1e-6:
            continue
        unit = between / distance
        gain = lacking / float(unit @ (cov[i] + cov[j]) @ unit)
        centres[i] -= cov[i] @ unit * gain
        centres[j] += cov[j] @ unit * gain
        most = max(most, lacking)
    return most


def _walls(centres: FloatArray, table: Table) -> list[tuple[int, int, float, float]]:
    """Ball, axis, limit and inward sign for balls that lie along a nose."""
    out = []
    length, width = table.surface_mm
    for (ax, ay), (bx, by) in table.nose_segments_mm.values():
        axis = 1 if ay == by else 0
        line, far = (ay, width) if axis == 1 else (ax, length)
        low, high = (ax, bx) if axis == 1 else (ay, by)
        inward = -1.0 if line == far else 1.0
        for k, centre in enumerate(centres):
            beside = low < centre[1 - axis] < high
            if beside and inward * (centre[axis] - line) < FROZEN_INSET_MM:
                out.append((k, axis, line + inward * (FROZEN_INSET_MM - SLACK_MM), inward))
    return out


def _leave_walls(
    centres: FloatArray, cov: FloatArray, walls: list[tuple[int, int, float, float]]
) -> float:
    most = 0.0
    for k, axis, limit, inward in walls:
        lacking = inward * (limit - centres[k, axis])
        if lacking <= 0:
            continue
        centres[k] += cov[k][axis] * (inward * lacking / cov[k][axis, axis])
        most = max(most, lacking)
    return most
