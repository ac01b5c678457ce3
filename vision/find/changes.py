"""What differs between two stills of one table, so that only that is looked at again.

Views are compared by the means of small cells; light that changes alike everywhere does not
count. Parts of the view to search are rectangles of a size the finder takes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.table import BALL_DIAMETER_MM, Table

from .finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView

CELL = 4
"""View pixels per cell, each way."""
LEAST_LEVELS = 4.0
"""Grey levels by which a cell's mean must differ, beside the still's own noise."""
NOISES = 5.0
FAINT_LEVELS, FAINT_NOISES = 2.0, 4.0
MOST_SHARE = 0.06
"""Share of the bed's cells beyond which a still is read afresh."""
AROUND_PX = 28
"""Strip about a change that is searched with it: a ball and a half."""
STRIDE = 32
"""Sides of searched parts are multiples of this."""
MOST_PARTS = 4

Cells = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A rectangle of the view: first column and row, and its size, px."""

    left: int
    top: int
    columns: int
    rows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Cells that differ between two views, (112, 208) each."""

    sure: NDArray[np.bool_]
    """By more than noise; these are searched."""
    faint: NDArray[np.bool_]
    """Or a little, two cells and more together: where a lost ball could be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparer:
    """Compares views of one calibration."""

    bed: NDArray[np.bool_] = field(repr=False)
    """Cells over bed and pockets that the still shows."""
    some: NDArray[np.intp] = field(repr=False)
    """Indices of every fifth of them: enough for what all have in common."""

    @classmethod
    def of(cls, view: FinderView, table: Table) -> Comparer:
        """For the view of one table."""
        reach = BALL_DIAMETER_MM
        low, high = view.to_view(
            [(-reach, -reach), (table.length_mm + reach, table.width_mm + reach)]
        )
        x = (np.arange(VIEW_COLUMNS // CELL) + 0.5) * CELL
        y = (np.arange(VIEW_ROWS // CELL) + 0.5) * CELL
        inside_x = (x > low[0]) & (x < high[0])
        inside_y = (y > low[1]) & (y < high[1])
        bed = inside_y[:, None] & inside_x[None] & view.shown(CELL)
        return cls(bed=bed, some=np.flatnonzero(bed)[::5])

    def cells(self, view: NDArray[np.uint8]) -> Cells:
        """Means of the view's cells, (112, 208, 3)."""
        size = (VIEW_COLUMNS // CELL, VIEW_ROWS // CELL)
        return np.asarray(cv2.resize(view, size, interpolation=cv2.INTER_AREA), np.float32)

    def changed(self, before: Cells, now: Cells) -> Change | None:
        """What differs; None where so much does that nothing before holds."""
        off = now - before
        common = np.median(off.reshape(-1, 3)[self.some], axis=0)
        blue, green, red = (np.abs(off[..., k] - common[k]) for k in range(3))
        away = np.maximum(np.maximum(blue, green), red)
        noise = float(np.median(away.ravel()[self.some]))
        sure = (away > LEAST_LEVELS + NOISES * noise) & self.bed
        if sure.sum() > MOST_SHARE * self.bed.sum():
            return None
        faint = ((away > FAINT_LEVELS + FAINT_NOISES * noise) & self.bed).astype(np.uint8)
        # single cells are noise
        return Change(sure=sure, faint=cv2.morphologyEx(faint, cv2.MORPH_OPEN, _SQUARE) > 0)


_SQUARE = np.ones((2, 2), np.uint8)


def parts_to_search(changed: NDArray[np.bool_]) -> list[Part] | None:
    """Rectangles that hold all changed cells with what is around; None where they are many."""
    reach = 2 * (AROUND_PX // CELL) + 1
    grown = cv2.dilate(changed.astype(np.uint8), np.ones((reach, reach), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(grown, connectivity=8)
    if count - 1 > MOST_PARTS:
        return None
    return [_part(*(int(stats[k, column]) * CELL for column in range(4))) for k in range(1, count)]


def _part(left: int, top: int, columns: int, rows: int) -> Part:
    """The rectangle widened to sides the finder takes, inside the view."""
    wide = min(-(-columns // STRIDE) * STRIDE, VIEW_COLUMNS)
    high = min(-(-rows // STRIDE) * STRIDE, VIEW_ROWS)
    return Part(
        left=min(max(left - (wide - columns) // 2, 0), VIEW_COLUMNS - wide),
        top=min(max(top - (high - rows) // 2, 0), VIEW_ROWS - high),
        columns=wide,
        rows=high,
    )


def explained(changed: NDArray[np.bool_], view: FinderView, balls_mm: NDArray[np.float64]) -> bool:
    """Whether all that changed lies at balls (K, 2) mm, those that left and those that came."""
    rest = changed.astype(np.uint8)
    reach = round(BY_A_BALL_MM / view.scale_mm / CELL)
    for u, v in np.round((view.to_view(balls_mm) + 0.5) / CELL - 0.5).astype(int):
        cv2.circle(rest, (int(u), int(v)), reach, 0, -1)
    return int(rest.sum()) < LEAST_CELLS


BY_A_BALL_MM = 62.0
"""A ball and its shadow change cells no farther off than this."""
LEAST_CELLS = 5
"""Fewer cells are a mark of chalk: 13 mm each way a cell."""


def touched(
    changed: NDArray[np.bool_], view: FinderView, centres_mm: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether anything changed under or right beside balls at (K, 2) mm, (K,)."""
    size = 2 * round(0.6 * BALL_DIAMETER_MM / view.scale_mm / CELL) + 1
    near = cv2.dilate(changed.astype(np.uint8), np.ones((size, size), np.uint8))
    at = np.floor((view.to_view(centres_mm) + 0.5) / CELL).astype(int)
    rows = np.clip(at[:, 1], 0, near.shape[0] - 1)
    columns = np.clip(at[:, 0], 0, near.shape[1] - 1)
    return np.asarray(near[rows, columns] > 0)
