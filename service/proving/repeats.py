"""The same layout in several stills, left alone while the light changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from .gauges import LEFT_ALONE_MM, REPEATED, Ball, Gauge
from .seen import SeenStill

SAME_SIGMA_MM = 0.01
"""A ball that was left alone has moved by less."""
FEWEST_BALLS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class NameChanged:
    """A ball that lay where it was and was called otherwise."""

    at_mm: tuple[float, float]
    still: str
    name: str
    other_still: str
    other_name: str
    doubtful: bool
    """Whether either reading said that it was in doubt."""


def repeats_of(
    seen: Sequence[SeenStill],
) -> tuple[tuple[Gauge, ...], tuple[NameChanged, ...], int]:
    """Gauges of balls that stayed, names that changed, and how many stills repeat another."""
    found: list[Gauge] = []
    changed: list[NameChanged] = []
    firsts: list[int] = []
    repeated = 0
    for later, still in enumerate(seen):
        for first in firsts:
            partners = _partners(seen[first], still)
            if partners is not None:
                repeated += 1
                for i, j in partners:
                    found.extend(_still_there(seen, (first, i), (later, j)))
                    changed.extend(_renamed(seen, (first, i), (later, j)))
                break
        else:
            firsts.append(later)
    return tuple(found), tuple(changed), repeated


def _partners(one: SeenStill, other: SeenStill) -> list[tuple[int, int]] | None:
    """Which ball is which, one to one by place; None where any was moved, came or went."""
    if len(one) != len(other) or len(one) < FEWEST_BALLS:
        return None
    apart = np.linalg.norm(one.place_mm[:, None] - other.place_mm[None], axis=2)
    rows, columns = linear_sum_assignment(apart)
    if apart[rows, columns].max() > LEFT_ALONE_MM:
        return None
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True)]


def _still_there(seen: Sequence[SeenStill], first: Ball, later: Ball) -> Iterator[Gauge]:
    one, other = seen[first[0]], seen[later[0]]
    here = one.place_mm[first[1]]
    off = other.place_mm[later[1]] - here
    for axis in (0, 1):
        unit = (1.0, 0.0) if axis == 0 else (0.0, 1.0)
        yield Gauge(
            kind=REPEATED,
            still=other.still,
            balls=(one.names[first[1]],),
            off_mm=float(off[axis]),
            built_mm=SAME_SIGMA_MM,
            at_mm=(float(here[0]), float(here[1])),
            parts=((later, unit), (first, (-unit[0], -unit[1]))),
        )


def _renamed(seen: Sequence[SeenStill], first: Ball, later: Ball) -> Iterator[NameChanged]:
    (one, i), (other, j) = (seen[first[0]], first[1]), (seen[later[0]], later[1])
    if one.names[i] != other.names[j]:
        yield NameChanged(
            at_mm=(float(one.place_mm[i, 0]), float(one.place_mm[i, 1])),
            still=one.still,
            name=one.names[i],
            other_still=other.still,
            other_name=other.names[j],
            doubtful=one.doubtful[i] or other.doubtful[j],
        )
