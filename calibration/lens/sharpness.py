"""How sharp a board stands in a still: the width of its edges between black and white."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray

from .board import BoardPattern, BoardView, clear_mm, square_px

ImageArray = NDArray[np.uint8]
_STEP_PX = 0.25
_ALONG = np.linspace(0.3, 0.7, 9)
"""Places along an edge at which it is crossed, in parts of a square: clear of the corners."""
_LEAST_CONTRAST = 15.0
"""Grey levels between the sides of an edge; less is shade or glare, not a print."""

_REACH_PX = 10
"""Half a window in which one edge is looked for, without a board to say where."""
_FEWEST_EDGES = 30


def edge_width_px(still: ImageArray, view: BoardView, board: BoardPattern) -> float:
    """Width in px over which the board's edges rise from 10 to 90 %, (H, W, 3) BGR or grey.

    Median over the edges of one direction, the wider of the two directions: a moving camera
    smears one only. NaN where no edge can be judged. Widths beyond the room that the markers
    leave are understated, and still the widest that can be.
    """
    grey = still if still.ndim == 2 else cv2.cvtColor(still, cv2.COLOR_BGR2GRAY)
    size_px = square_px(view.board_mm, view.corners_px, board)
    if not np.isfinite(size_px):
        return float("nan")
    half_px = float(np.clip(0.9 * size_px * clear_mm(board) / board.square_mm, 2.0, 16.0))
    widths = []
    for axis in (0, 1):
        start, end = _neighbours(view, board, axis)
        rise = _rise_px(np.asarray(grey), start, end, half_px)
        if len(rise):
            widths.append(float(np.median(rise)))
    return max(widths, default=float("nan"))


def _neighbours(view: BoardView, board: BoardPattern, axis: int) -> tuple[FloatArray, FloatArray]:
    """Corner pairs (N, 2) px that are one square apart along ``axis`` of the board."""
    cells = np.round(view.board_mm[:, :2] / board.square_mm).astype(int)
    at = {(int(column), int(row)): index for index, (column, row) in enumerate(cells)}
    step = (1, 0) if axis == 0 else (0, 1)
    pairs = [
        (index, at[place[0] + step[0], place[1] + step[1]])
        for place, index in at.items()
        if (place[0] + step[0], place[1] + step[1]) in at
    ]
    first, second = np.asarray(pairs, dtype=int).reshape(-1, 2).T
    return view.corners_px[first], view.corners_px[second]


def _rise_px(grey: ImageArray, start: FloatArray, end: FloatArray, half_px: float) -> FloatArray:
    """10–90 % width of the edge between each pair of corners; edges of no contrast left out."""
    if len(start) == 0:
        return np.zeros(0)
    along = end - start
    across = np.column_stack([-along[:, 1], along[:, 0]])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    off = np.arange(-half_px, half_px + _STEP_PX / 2, _STEP_PX)
    places = (
        start[:, None, None]
        + _ALONG[None, :, None, None] * along[:, None, None]
        + off[None, None, :, None] * across[:, None, None]
    )
    flat = places.reshape(len(start), -1, 2).astype(np.float32)
    seen = cv2.remap(
        grey, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    profile = np.asarray(seen, float).reshape(len(start), len(_ALONG), len(off)).mean(axis=1)
    ends = np.median(profile[:, :3], axis=1), np.median(profile[:, -3:], axis=1)
    rise = ends[1] - ends[0]
    kept = np.abs(rise) > _LEAST_CONTRAST
    share = (profile[kept] - ends[0][kept, None]) / rise[kept, None]
    climbed = np.maximum.accumulate(share, axis=1)
    return np.array(
        [np.interp(0.9, one, off) - np.interp(0.1, one, off) for one in climbed], dtype=float
    )


def finest_edge_px(still: ImageArray) -> float:
    """Width in px of the sharpest edges of a still of anything; NaN where it has none.

    Grey levels between an edge's sides over its steepest slope, which for a blurred step is its
    10–90 % width; the sharpest tenth counts, since much in a picture is soft by itself. The
    softer of upright and level edges: a moving camera smears one kind only.
    """
    grey = still if still.ndim == 2 else cv2.cvtColor(still, cv2.COLOR_BGR2GRAY)
    smooth = cv2.GaussianBlur(np.asarray(grey, np.float32), (0, 0), 0.8)
    window = np.ones((2 * _REACH_PX + 1, 2 * _REACH_PX + 1), np.uint8)
    rise = np.asarray(cv2.dilate(smooth, window)) - np.asarray(cv2.erode(smooth, window))
    by_u, by_v = (
        np.abs(np.asarray(cv2.Sobel(smooth, cv2.CV_32F, *order, scale=1 / 8)))
        for order in ((1, 0), (0, 1))
    )
    slope = np.hypot(by_u, by_v)
    steepest = (slope >= np.asarray(cv2.dilate(slope, window))) & (rise > 2 * _LEAST_CONTRAST)
    width_px = rise[steepest] / slope[steepest]
    upright = (by_u > by_v)[steepest]
    of_kinds = [width_px[kind] for kind in (upright, ~upright) if kind.sum() >= _FEWEST_EDGES]
    return max((float(np.quantile(kind, 0.1)) for kind in of_kinds), default=float("nan"))
