"""Which balls a shot can have moved: chains of balls along lines of travel, rails included.

A ball that did not move was not hit, so nothing can have rolled through it. The rule is
permissive: speed, spin and where a ball went afterwards are not asked.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, PointMm, Table
from service.position.geometry import FloatArray, nearest_on_segment

MOST_RAILS = 3
"""A ball that hits another after more rails than these is not looked for."""
CLUSTER_MM = 2.5 * BALL_DIAMETER_MM
"""Balls nearer to each other than this move together when one of them is hit."""
_SLACK_MM = 2.0
_SIDES = (0.0, 0.45, -0.45, 0.85, -0.85)
"""Where a ball may be hit, as shares of a diameter beside the middle."""


def unreached(
    cue_mm: PointMm, changed_mm: Mapping[str, PointMm], still_mm: Sequence[PointMm], table: Table
) -> tuple[str, ...]:
    """Balls that no chain from the cue ball reaches, past those that did not move."""
    left = dict(changed_mm)
    starts = [cue_mm]
    tried: set[tuple[PointMm, str, int]] = set()
    for rails in range(MOST_RAILS + 1):
        found = True
        while found and left:
            found = False
            for start, name in itertools.product(tuple(starts), tuple(left)):
                if name not in left or (start, name, rails) in tried:
                    continue
                tried.add((start, name, rails))
                if _reaches(start, left[name], still_mm, table, rails):
                    starts.append(left.pop(name))
                    found = True
    return tuple(left)


def clusters(places_mm: Mapping[str, PointMm]) -> list[set[str]]:
    """Balls that lie so near each other that they move together."""
    groups: list[set[str]] = []
    for name, place in places_mm.items():
        near = [
            group
            for group in groups
            if any(math.dist(place, places_mm[other]) <= CLUSTER_MM for other in group)
        ]
        merged = {name}.union(*near)
        groups = [group for group in groups if group not in near] + [merged]
    return groups


def _reaches(
    start_mm: PointMm, target_mm: PointMm, still_mm: Sequence[PointMm], table: Table, rails: int
) -> bool:
    """Whether a ball from ``start_mm`` can hit one at ``target_mm`` after exactly so many rails.

    Rails are unfolded: the table is laid out again mirrored behind each, and ways are straight.
    """
    start = np.asarray(start_mm)
    targets = _images(target_mm, table, rails, exactly=True)
    ways = targets - start
    size = np.hypot(ways[:, 0], ways[:, 1])
    size = np.maximum(size, 1e-9)
    if rails == 0 and float(size[0]) <= BALL_DIAMETER_MM + _SLACK_MM:
        return True
    side = np.stack([-ways[:, 1], ways[:, 0]], axis=-1) / size[:, None] * BALL_DIAMETER_MM
    ends = np.concatenate([targets + share * side for share in _SIDES])
    if not len(still_mm):
        return True
    blocks = np.concatenate([_images(place, table, rails, exactly=False) for place in still_mm])
    _, near = nearest_on_segment(blocks[None, :, :], start, ends[:, None, :])
    # a ball that lies beside the start does not stand in its way
    beside = np.hypot(*(blocks - start).T) <= BALL_DIAMETER_MM + _SLACK_MM
    free = (near >= BALL_DIAMETER_MM - _SLACK_MM) | beside[None, :]
    return bool(free.all(axis=1).any())


def _images(place_mm: PointMm, table: Table, rails: int, *, exactly: bool) -> FloatArray:
    """A place seen in up to so many rails, (N, 2)."""
    length, width = (side - 2 * FROZEN_INSET_MM for side in table.surface_mm)
    x, y = place_mm[0] - FROZEN_INSET_MM, place_mm[1] - FROZEN_INSET_MM
    out = []
    for i, j in itertools.product(range(-rails, rails + 1), repeat=2):
        if (abs(i) + abs(j) == rails) if exactly else (abs(i) + abs(j) <= rails):
            image_x = i * length + (length - x if i % 2 else x)
            image_y = j * width + (width - y if j % 2 else y)
            out.append((image_x + FROZEN_INSET_MM, image_y + FROZEN_INSET_MM))
    return np.asarray(out)
