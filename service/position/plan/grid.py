"""The grid of cells that maps of the bed are made on."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, PointMm, Table


def axes_mm(table: Table, step_mm: float) -> tuple[FloatArray, FloatArray]:
    """Middles of the columns along the bed and of the rows across it."""
    length_mm, width_mm = table.surface_mm
    along, across = (
        (np.arange(math.ceil(side / step_mm), dtype=np.float64) + 0.5) * step_mm
        for side in (length_mm, width_mm)
    )
    return along, across


def free_cells(
    x_mm: FloatArray, y_mm: FloatArray, table: Table, balls_mm: Sequence[PointMm]
) -> NDArray[np.bool_]:
    """Cells in whose middle a cue ball can lie, (rows, columns)."""
    length_mm, width_mm = table.surface_mm
    across = (x_mm >= FROZEN_INSET_MM) & (x_mm <= length_mm - FROZEN_INSET_MM)
    along = (y_mm >= FROZEN_INSET_MM) & (y_mm <= width_mm - FROZEN_INSET_MM)
    free = along[:, None] & across
    for bx, by in balls_mm:
        rows = np.flatnonzero(np.abs(y_mm - by) < BALL_DIAMETER_MM)
        columns = np.flatnonzero(np.abs(x_mm - bx) < BALL_DIAMETER_MM)
        near = np.ix_(rows, columns)
        off = (x_mm[columns] - bx) ** 2 + ((y_mm[rows] - by) ** 2)[:, None]
        free[near] &= off >= BALL_DIAMETER_MM**2
    return free
