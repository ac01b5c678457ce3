"""Where a ball could lie unseen: polygons on the plane of the ball centres."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.table import BALL_RADIUS_MM, Table
from vision.find.changes import CELL
from vision.find.detect import can_rest
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.layout import Polygon

from .cells import cell_mm
from .patches import Patch

Grey = NDArray[np.float32]
UNSEEN = 0.6
"""A ball of which more is covered is not found for sure."""
_FINER = 4
"""Polygons are drawn on a grid so many times finer than the cells."""
_CORNER_MM = 2.0
"""Corners that matter less are left out."""
LEAST_MM2 = 25.0
"""A smaller polygon is noise of its outline."""


def hidden_mm(
    patches: Iterable[Patch], view: FinderView, table: Table, balls_mm: ArrayLike = ()
) -> tuple[Polygon, ...]:
    """Polygons, mm, in which a ball's centre could lie unseen behind what the patches show.

    Where a ball was found, at (K, 2) mm, no other can lie.
    """
    cover = np.zeros((VIEW_ROWS // CELL, VIEW_COLUMNS // CELL), np.float32)
    for patch in patches:
        rows, columns = patch.cover.shape
        top, left = patch.first
        part = cover[top : top + rows, left : left + columns]
        np.maximum(part, patch.cover, out=part)
    if not cover.any():
        return ()
    return outlined(covered_share(cover, view), view, table, balls_mm)


def covered_share(cover: Grey, view: FinderView) -> Grey:
    """The share that is covered of a ball at every place, on a finer grid than the cells."""
    size = (cover.shape[1] * _FINER, cover.shape[0] * _FINER)
    fine = cv2.resize(cover, size, interpolation=cv2.INTER_LINEAR)
    radius = BALL_RADIUS_MM / cell_mm(view) * _FINER
    disc = _disc(radius)
    return np.asarray(cv2.filter2D(fine, -1, disc, borderType=cv2.BORDER_CONSTANT), np.float32)


def outlined(
    share: Grey, view: FinderView, table: Table, balls_mm: ArrayLike = ()
) -> tuple[Polygon, ...]:
    """Polygons around the places of a fine grid where a ball can rest and is covered that much."""
    over = (share >= UNSEEN).astype(np.uint8)
    box = cv2.boundingRect(over)
    if box[2] == 0:
        return ()
    left, top = box[0], box[1]
    part = over[top : top + box[3], left : left + box[2]]
    at = np.argwhere(part)[:, ::-1] + np.array([left, top])
    places = _to_mm(at, view)
    ok = can_rest(table, places)
    for ball in np.asarray(balls_mm, dtype=float).reshape(-1, 2):
        away = places - ball
        ok &= np.hypot(away[:, 0], away[:, 1]) > BALL_RADIUS_MM
    gone = at[~ok]
    over[gone[:, 1], gone[:, 0]] = 0
    lines, _ = cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    step = cell_mm(view) / _FINER
    out = []
    for line in lines:
        corners = cv2.approxPolyDP(line, _CORNER_MM / step, True).reshape(-1, 2)
        if len(corners) < 3 or cv2.contourArea(corners) * step**2 < LEAST_MM2:
            continue
        out.append(
            tuple((float(x), float(y)) for x, y in np.round(_to_mm(np.asarray(corners), view), 1))
        )
    return tuple(out)


def _to_mm(at: NDArray[Any], view: FinderView) -> NDArray[np.float64]:
    """Columns and rows (N, 2) of the fine grid → places on the table."""
    return view.to_table((at + 0.5) / _FINER * CELL - 0.5)


def _disc(radius: float) -> Grey:
    """A disc of that radius, its edge cells by their share, summing to 1."""
    reach = int(np.ceil(radius))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0)
    return np.asarray(disc / disc.sum(), np.float32)
