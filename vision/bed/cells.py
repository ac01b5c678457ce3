"""Which cells of the view show the bed, and the kept picture of the empty bed in such cells."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.kept.bed_picture import BedPicture
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from vision.find.changes import CELL
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView

Mask = NDArray[np.bool_]
EDGE_CELLS = 2
"""Cells along the picture's edge that are left out: what is mapped there hangs on every move."""
NOSE_MM, BED_MM = 3.0, 12.0
"""The outermost strips at nose and bed height that are left out."""


def cell_mm(view: FinderView) -> float:
    """Side of a cell."""
    return view.scale_mm * CELL


def cell_places(view: FinderView, places_mm: ArrayLike) -> FloatArray:
    """Columns and rows (N, 2) among the view's cells of places, mm."""
    return (view.to_view(places_mm) + 0.5) / CELL - 0.5


def bed_cells(view: FinderView, camera: Camera, table: Table) -> Mask:
    """The view's cells that show bed and nothing nearer: inside the noses, off the pockets, and
    off the picture's own edge."""
    size = (VIEW_ROWS // CELL, VIEW_COLUMNS // CELL)
    out = np.ones(size, np.uint8)
    for height_mm, strip_mm in ((0.0, BED_MM), (table.nose_height_mm, NOSE_MM)):
        mask = np.zeros(size, np.uint8)
        outline = _outline_mm(table, strip_mm)
        seen = camera.project(np.column_stack([outline, np.full(len(outline), height_mm)]))
        places = camera.back_project(seen, BALL_CENTRE_HEIGHT_MM)
        cells = np.round(cell_places(view, places) * 16).astype(np.int32)
        cv2.fillPoly(mask, [cells], (1,), cv2.LINE_8, 4)
        out &= mask
    for pocket in table.pockets:
        middle = cell_places(view, [pocket.aim_mm])[0]
        radius = pocket.mouth_mm / 2 / cell_mm(view)
        at = np.round(middle * 16).astype(int)
        cv2.circle(out, (int(at[0]), int(at[1])), round(radius * 16), (0,), -1, cv2.LINE_8, 4)
    edge = np.ones((2 * EDGE_CELLS + 1, 2 * EDGE_CELLS + 1), np.uint8)
    # beyond the view all may be shown
    shown = cv2.erode(view.shown(CELL).astype(np.uint8), edge)
    return (out > 0) & (shown > 0)


def _outline_mm(table: Table, strip_mm: float, count: int = 24) -> FloatArray:
    """Points along the nose lines, so far inside them, all round, (4·count, 2)."""
    low = np.array([strip_mm, strip_mm])
    high = np.array(table.surface_mm) - strip_mm
    corners = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
    part = (np.arange(count) / count)[:, None]
    ways = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    return np.concatenate([start + part * (end - start) for start, end in ways])


def stretch(some: NDArray[np.bool_], block: int) -> slice:
    """From the first to the last that is true, widened to whole blocks."""
    at = np.flatnonzero(some)
    if len(at) == 0:
        return slice(0, len(some) // block * block)
    start = int(at[0])
    length = -(-(int(at[-1]) + 1 - start) // block) * block
    start = max(min(start, len(some) - length), 0)
    return slice(start, start + length)


def shrunk(bed: Mask, cells: int) -> Mask:
    """Without its outermost cells."""
    square = np.ones((2 * cells + 1, 2 * cells + 1), np.uint8)
    inside = cv2.erode(
        bed.astype(np.uint8), square, borderType=cv2.BORDER_CONSTANT, borderValue=(0,)
    )
    return np.asarray(inside > 0)


def resampled(
    picture: BedPicture, view: FinderView, first: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.uint8]:
    """The kept picture in the view's cells, from the ``first`` row and column on."""
    rows, columns = (
        CELL * start + np.arange(CELL * count) for start, count in zip(first, size, strict=True)
    )
    grid = np.stack(np.broadcast_arrays(columns, rows[:, None]), axis=-1).reshape(-1, 2)
    at = (view.to_table(grid) - np.array(picture.corner_mm)) / picture.scale_mm
    across, down = (at[:, k].reshape(len(rows), len(columns)).astype(np.float32) for k in range(2))
    fine = cv2.remap(
        picture.pixels(), across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(cv2.resize(fine, size[::-1], interpolation=cv2.INTER_AREA), np.uint8)
