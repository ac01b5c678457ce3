"""Distances that are known beforehand, found among the balls of stills.

A gauge is meant by whoever laid the balls: what lies within 3 mm of touching counts as touching,
however well it agrees. To take only what agrees would make every reader look good.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table

from .seen import LeftOut, SeenStill

MEANT_MM = 3.0
"""Balls this near to touching one another or a cushion were laid to touch. Errors of more than a
third of this, 1 sigma, lose some of their worst by it and are measured a little too small."""
LEFT_ALONE_MM = 6.0
"""What is seen farther than this from where it was has been moved."""
NEARLY_MM = 9.0
"""What is left out is told up to here."""
TOUCH_SIGMA_MM = 0.07
"""How well the distance of touching balls is known: they are built to ±0.127 mm."""
FROZEN_SIGMA_MM = 0.25
"""How well a frozen ball's distance from the nose line is known: nose heights of 35.7 to 36.9 mm
move it by 0.17, and frozen by eye is a paper's thickness. More would excuse the reading's error."""
RACK_BALLS = 6
TOUCHING, RACK, FROZEN, REPEATED = "touching", "rack", "frozen", "repeated"
KINDS = (TOUCHING, RACK, FROZEN, REPEATED)

Ball = tuple[int, int]
"""Index of the still and of the ball in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """One known distance: how far what was seen is off, and how it hangs on the balls."""

    kind: str
    still: str
    balls: tuple[str, ...]
    off_mm: float
    """Seen minus known."""
    built_mm: float
    """How well it is known, 1 sigma."""
    at_mm: tuple[float, float]
    parts: tuple[tuple[Ball, tuple[float, float]], ...]
    """The balls, each with the direction (table frame) in which its error counts."""


def gauges_of(
    seen: Sequence[SeenStill], table: Table, *, apart: Sequence[frozenset[str]] = ()
) -> tuple[tuple[Gauge, ...], tuple[LeftOut, ...]]:
    """Touching balls, racks and frozen balls of all stills, and what nearly is one.

    ``apart`` names pairs of balls that do not touch, whatever it looks like. What lies there
    still in a later still counts once: its error is the same again, not another one.
    """
    found: list[Gauge] = []
    left: list[LeftOut] = []
    for number, still in enumerate(seen):
        before = tuple(found)
        for item in (*_pairs(number, still, apart), *_frozen(number, still, table)):
            if isinstance(item, LeftOut):
                left.append(item)
            elif not any(_same(item, one) for one in before):
                found.append(item)
    return tuple(found), tuple(left)


def _same(one: Gauge, other: Gauge) -> bool:
    off = np.hypot(*np.subtract(one.at_mm, other.at_mm))
    alike = FROZEN in (one.kind, other.kind)
    return bool(off < LEFT_ALONE_MM) and (not alike or one.kind == other.kind)


def _pairs(
    number: int, still: SeenStill, apart: Sequence[frozenset[str]]
) -> Iterator[Gauge | LeftOut]:
    place = still.place_mm
    gaps = {
        (i, j): float(np.hypot(*(place[j] - place[i]))) - BALL_DIAMETER_MM
        for i, j in combinations(range(len(still)), 2)
    }
    told = {pair for pair in gaps if frozenset(still.names[k] for k in pair) in apart}
    edges = [pair for pair, gap in gaps.items() if gap <= MEANT_MM and pair not in told]
    racked = _racked(edges)
    for (i, j), gap in gaps.items():
        names = (still.names[i], still.names[j])
        if (i, j) in edges:
            unit = (place[j] - place[i]) / (gap + BALL_DIAMETER_MM)
            yield Gauge(
                kind=RACK if i in racked and j in racked else TOUCHING,
                still=still.still,
                balls=names,
                off_mm=gap,
                built_mm=TOUCH_SIGMA_MM,
                at_mm=_point((place[i] + place[j]) / 2),
                parts=(((number, i), _point(-unit)), ((number, j), _point(unit))),
            )
        elif gap <= NEARLY_MM:
            code = "told" if (i, j) in told else "apart"
            yield LeftOut(still=still.still, code=code, balls=names, off_mm=gap)


def _racked(edges: Sequence[tuple[int, int]]) -> set[int]:
    """Balls of heaps that are stiff: as many contacts as fix every ball of a lattice."""
    out: set[int] = set()
    for heap in _heaps(edges):
        inside = sum(1 for i, _ in edges if i in heap)
        if len(heap) >= RACK_BALLS and inside >= 2 * len(heap) - 3:
            out |= heap
    return out


def _heaps(edges: Sequence[tuple[int, int]]) -> list[set[int]]:
    heaps: list[set[int]] = []
    for pair in edges:
        met = [heap for heap in heaps if heap & set(pair)]
        heaps = [heap for heap in heaps if heap not in met]
        heaps.append(set(pair).union(*met))
    return heaps


def _frozen(number: int, still: SeenStill, table: Table) -> Iterator[Gauge | LeftOut]:
    for name, axis, inward, line, low, high in _noses(table):
        for k, place in enumerate(still.place_mm):
            off = inward * (float(place[axis]) - line) - FROZEN_INSET_MM
            if off > NEARLY_MM or not low < place[1 - axis] < high:
                continue
            if off > MEANT_MM:
                yield LeftOut(
                    still=still.still,
                    code="off-cushion",
                    balls=(still.names[k],),
                    off_mm=off,
                    detail=name,
                )
                continue
            yield Gauge(
                kind=FROZEN,
                still=still.still,
                balls=(still.names[k],),
                off_mm=off,
                built_mm=FROZEN_SIGMA_MM,
                at_mm=_point(place),
                parts=(((number, k), (inward, 0.0) if axis == 0 else (0.0, inward)),),
            )


def _noses(table: Table) -> Iterator[tuple[str, int, float, float, float, float]]:
    """Name, axis across, inward sign, where it runs, from and to, of each cushion."""
    for name, (a, b) in table.nose_segments_mm.items():
        axis = 1 if a[1] == b[1] else 0
        middle = table.surface_mm[axis] / 2
        inward = 1.0 if a[axis] < middle else -1.0
        low, high = sorted((a[1 - axis], b[1 - axis]))
        yield name, axis, inward, a[axis], low, high


def _point(vector: FloatArray) -> tuple[float, float]:
    return (float(vector[0]), float(vector[1]))
