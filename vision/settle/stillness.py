"""Whether anything moves over the bed: small views of frames compared, changing light left out.

Brightness alone is compared: what packs a video blurs and shifts colours from frame to frame, by
17 levels at a ball's edge, and brightness by 5.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.table import Table
from vision.find.changes import CELL, Comparer
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView

Cells = NDArray[np.float32]
"""Brightness of the view's cells, (112, 208)."""
Mask = NDArray[np.bool_]
LIGHT_CELLS, SMOOTH_CELLS = 17, 9
"""Cells each way, about 220 mm, whose median change is the light's: shadows of people."""
MOST_LIGHT = 0.25
"""A shadow takes no more; what does is an arm."""
_STEPS = 100.0
LEAST_LEVELS, NOISES = 5.0, 6.0
"""Grey levels by which a cell must differ, and so many times what is common between frames.

With flicker of 3 % and noise of 2 levels on half-size sample frames, packed as JPEG of quality 95,
80, 65, 50 and 30, cells at rest differed by up to 3.1, 3.6, 4.2, 6.0 and 9.0 levels; the second
most of a ball 2 mm on by 5.4 or more."""
LEAST_CELLS = 2
"""One cell alone is noise or an insect; a ball that rolls two millimetres changes more."""
BIG_MM2, RIM_MM2 = 10_000.0, 2_500.0
"""A change so large, of it so much over the cushions, is a person: a ball with its shadow takes
6000, and over a cushion little of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stillness:
    """Compares frames of one calibration, as cells 13 mm each way."""

    bed: Mask = field(repr=False)
    """Cells over bed, cushions' edges and pockets that the picture shows."""
    some: NDArray[np.intp] = field(repr=False)
    """Indices of every fifth of them."""
    shown: Mask = field(repr=False)
    """All cells that the picture shows."""
    rim: Mask = field(repr=False)
    """Those from the nose lines outward."""
    cell_mm: float

    @classmethod
    def of(cls, view: FinderView, table: Table) -> Stillness:
        """For the view of one table."""
        comparer = Comparer.of(view, table)
        (left, low), (right, high) = view.to_view([(0.0, 0.0), table.surface_mm]) / CELL
        rows, columns = np.indices(comparer.bed.shape)
        inside = (columns > left) & (columns < right - 1) & (rows > low) & (rows < high - 1)
        return cls(
            bed=comparer.bed, some=comparer.some, shown=view.shown(CELL),
            rim=comparer.bed & ~inside,
            cell_mm=view.scale_mm * CELL,
        )  # fmt: skip

    def cells(self, seen: NDArray[np.uint8]) -> Cells:
        """Brightness of a top view's (448, 832, 3) cells."""
        grey = cv2.cvtColor(seen, cv2.COLOR_BGR2GRAY)
        size = (VIEW_COLUMNS // CELL, VIEW_ROWS // CELL)
        return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)

    def moved(self, before: Cells, now: Cells) -> Mask:
        """Cells of the bed that differ by more than light and noise."""
        away = np.abs(now / self._light(before, now) - before)
        noise = float(np.median(away.ravel()[self.some]))
        return np.asarray((away > max(LEAST_LEVELS, NOISES * noise)) & self.bed)

    def any_moved(self, before: Cells, now: Cells) -> bool:
        """Whether anything does."""
        return enough(self.moved(before, now))

    def person(self, moved: Mask) -> bool:
        """Whether what differs from the table at rest is more than balls: it comes over a rail."""
        count, marked, stats, _ = cv2.connectedComponentsWithStats(
            moved.astype(np.uint8), connectivity=8
        )
        big = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= self._count(BIG_MM2)]
        over = [int((self.rim & (marked == k)).sum()) for k in big]
        return any(cells >= self._count(RIM_MM2) for cells in over)

    def _light(self, before: Cells, now: Cells) -> Cells:
        """By how much light rose, of the whole and about each cell.

        The median about a cell is that of the light as long as balls, and arms but for their
        middle, cover less than half.
        """
        ratio = np.maximum(now, 1.0) / np.maximum(before, 1.0)
        whole = float(np.median(ratio.ravel()[self.some]))
        # a part of the table beyond the picture is black in all light
        ratio[~self.shown] = whole
        near = cv2.medianBlur(cv2.convertScaleAbs(ratio, alpha=_STEPS / whole), LIGHT_CELLS)
        smooth = cv2.blur(near.astype(np.float32), (SMOOTH_CELLS, SMOOTH_CELLS)) / _STEPS
        light = np.where(np.abs(smooth - 1) < MOST_LIGHT, smooth, 1.0)
        return np.asarray(whole * light, np.float32)

    def _count(self, area_mm2: float) -> float:
        return area_mm2 / self.cell_mm**2


def enough(moved: Mask) -> bool:
    """Whether so many cells are more than noise."""
    return int(moved.sum()) >= LEAST_CELLS
