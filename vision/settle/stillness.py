"""Whether anything moves over the bed: small views of frames compared, changing light left out."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.table import Table
from vision.find.changes import CELL, Cells, Comparer
from vision.find.finder_view import FinderView

Mask = NDArray[np.bool_]
LIGHT_CELLS = 17
"""Cells each way, about 220 mm, over which a difference counts as light: shadows of people."""
MOST_LIGHT = 0.25
"""A shadow takes no more; what does is an arm."""
_STEPS = 100.0
LEAST_LEVELS, NOISES = 6.0, 6.0
"""Grey levels by which a cell must differ, and so many times what is common between frames."""
OF_LEVEL = 0.02
"""More of what is bright: lamps of two colours flicker apart, and white is cut off."""
LEAST_CELLS = 2
"""One cell alone is noise or an insect; a ball that rolls a millimetre changes more."""
BIG_MM2, RIM_MM2 = 10_000.0, 2_500.0
"""A change so large, of it so much over the cushions, is a person: a ball with its shadow takes
6000, and over a cushion little of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """Compares frames of one calibration, as means of cells 13 mm each way."""

    comparer: Comparer
    cell_mm: float
    rim: Mask = field(repr=False)
    """Cells from the nose lines outward."""

    @classmethod
    def of(cls, view: FinderView, table: Table) -> Stillness:
        """For the view of one table."""
        comparer = Comparer.of(view, table)
        (left, low), (right, high) = view.to_view([(0.0, 0.0), table.surface_mm]) / CELL
        rows, columns = np.indices(comparer.bed.shape)
        inside = (columns > left) & (columns < right - 1) & (rows > low) & (rows < high - 1)
        return cls(
            comparer=comparer, cell_mm=view.scale_mm * CELL, rim=comparer.bed & ~inside
        )  # fmt: skip

    def cells(self, seen: NDArray[np.uint8]) -> Cells:
        """Means of a top view's cells."""
        return self.comparer.cells(seen)

    def moved(self, before: Cells, now: Cells) -> Mask:
        """Cells of the bed that differ by more than light and noise."""
        off = now / self._light(before, now)[..., None] - before
        away = _largest(np.abs(off))
        noise = float(np.median(away.ravel()[self.comparer.some]))
        least = max(LEAST_LEVELS, NOISES * noise) + OF_LEVEL * _largest(before)
        return np.asarray((away > least) & self.comparer.bed)

    def _light(self, before: Cells, now: Cells) -> NDArray[np.float32]:
        """By how much light rose, of the whole and about each cell, (rows, columns).

        All colours together, since cloth lacks one or two. The median about a cell is that of the
        light as long as balls, and arms but for their middle, cover less than half.
        """
        was, level = _sum(before), np.maximum(_sum(now), 1.0)
        ratio = level / np.maximum(was, 1.0)
        whole = float(np.median(ratio.ravel()[self.comparer.some]))
        near = cv2.medianBlur(cv2.convertScaleAbs(ratio, alpha=_STEPS / whole), LIGHT_CELLS)
        smooth = cv2.blur(near.astype(np.float32), (9, 9)) / _STEPS
        light = np.where(np.abs(smooth - 1) < MOST_LIGHT, smooth, 1.0)
        return np.asarray(whole * light, np.float32)

    def any_moved(self, before: Cells, now: Cells) -> bool:
        """Whether anything does."""
        return int(self.moved(before, now).sum()) >= LEAST_CELLS

    def person(self, moved: Mask) -> bool:
        """Whether what differs from the table at rest is more than balls: it comes over a rail."""
        count, marked, stats, _ = cv2.connectedComponentsWithStats(
            moved.astype(np.uint8), connectivity=8
        )
        big = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= self._cells(BIG_MM2)]
        over = [int((self.rim & (marked == k)).sum()) for k in big]
        return any(cells >= self._cells(RIM_MM2) for cells in over)

    def _cells(self, area_mm2: float) -> float:
        return area_mm2 / self.cell_mm**2


def _sum(cells: Cells) -> NDArray[np.float32]:
    blue, green, red = cv2.split(cells)
    return np.asarray(blue + green + red, np.float32)


def _largest(cells: ArrayLike) -> NDArray[np.float32]:
    """The largest of the three colours of every cell."""
    blue, green, red = cv2.split(np.asarray(cells, np.float32))
    return np.asarray(cv2.max(cv2.max(blue, green), red), np.float32)
