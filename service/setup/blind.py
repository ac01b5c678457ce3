"""Parts of the bed on which a ball could not be seen: outside of the picture, or behind something.

What hangs between camera and bed, a lamp's shade, is known by the empty still; what lies there
later is told by each reading (``Layout.hidden_mm``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from shapely import Polygon, box, contains_xy, union_all

from calibration.arrays import BoolArray
from calibration.kept.budget import bed_grid_mm
from calibration.kept.calibration import Calibration
from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM
from vision.bed.blind import blind_mm
from vision.bed.reference import Reference
from vision.bed.rings import without_holes
from vision.find.finder_view import FinderView

ROWS, COLUMNS = 20, 40
"""Cells of 64 mm on a 9 ft table: about a ball."""
_ENDS = ("head end", "middle", "foot end")
_SIDES = ("right side", "", "left side")


@dataclass(frozen=True, slots=True, kw_only=True)
class Blind:
    """What of the bed the camera does not see."""

    share: float
    """Of the bed, 0 … 1."""
    polygons_mm: tuple[tuple[tuple[float, float], ...], ...]
    """Outer rings, table frame."""
    where: tuple[str, ...]
    """``foot end``, ``head end left side`` … in words of the table."""
    hidden_mm: tuple[tuple[tuple[float, float], ...], ...] = ()
    """What the empty still shows nothing of, since something hangs before it: outer rings."""
    hidden_px: tuple[tuple[tuple[float, float], ...], ...] = ()
    """The same in the still."""
    hidden_share: float = 0.0
    """Of the bed, 0 … 1."""
    hidden_where: tuple[str, ...] = ()
    """Where that is, in words of the table."""

    @classmethod
    def of(cls, made: Calibration) -> Blind:
        """By where the picture ends, and by what hangs before the bed in its empty still."""
        cells = ~_seen(made)
        hung = _hung(made)
        behind = _cells_of(made, hung)
        hidden: dict[str, Any] = {
            "hidden_mm": hung,
            "hidden_px": tuple(_in_still(made, ring) for ring in hung),
            "hidden_share": _share(made, hung),
            "hidden_where": _where(behind),
        }
        return cls(
            share=float(cells.mean()),
            polygons_mm=_outside(made, cells),
            where=_where(cells),
            **hidden,
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "share": round(self.share, 4),
            "polygons_mm": [[list(place) for place in ring] for ring in self.polygons_mm],
            "where": list(self.where),
            "hidden_mm": [[list(place) for place in ring] for ring in self.hidden_mm],
            "hidden_px": [[list(place) for place in ring] for ring in self.hidden_px],
            "hidden_share": round(self.hidden_share, 4),
            "hidden_where": list(self.hidden_where),
        }


@lru_cache(maxsize=8)
def outside_mm(made: Calibration) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Outer rings of what lies outside of the picture; worked out once a calibration."""
    return _outside(made, ~_seen(made))


def _outside(made: Calibration, cells: BoolArray) -> tuple[tuple[tuple[float, float], ...], ...]:
    """Outer rings of blind cells, united."""
    if not cells.any():
        return ()
    high, wide = made.table.width_mm / ROWS, made.table.length_mm / COLUMNS
    boxes = [
        box(column * wide, row * high, (column + 1) * wide, (row + 1) * high)
        for row, column in np.argwhere(cells)
    ]
    return tuple(
        tuple((float(x), float(y)) for x, y in part.exterior.coords)
        for part in without_holes(union_all(boxes))
    )


def _hung(made: Calibration) -> tuple[tuple[tuple[float, float], ...], ...]:
    """What hangs before the bed; nothing where the calibration holds no empty picture."""
    reference = Reference.of(made, FinderView.of(made.camera, made.table))
    return () if reference is None else tuple(tuple(ring) for ring in blind_mm(reference))


def _share(made: Calibration, rings: Sequence[Sequence[tuple[float, float]]]) -> float:
    whole = union_all([Polygon(ring).buffer(0) for ring in rings])
    return float(whole.area / (made.table.length_mm * made.table.width_mm))


def _cells_of(made: Calibration, rings: Sequence[Sequence[tuple[float, float]]]) -> BoolArray:
    """(ROWS, COLUMNS): whether the cell's middle lies in one of the rings, or holds one's own."""
    grid = bed_grid_mm(made.table, ROWS, COLUMNS)
    cells = np.zeros(len(grid), dtype=np.bool_)
    for ring in rings:
        shape = Polygon(ring).buffer(0)
        if shape.is_empty:
            continue
        middle = np.array([shape.representative_point().x, shape.representative_point().y])
        cells |= contains_xy(shape, grid[:, 0], grid[:, 1])
        cells[np.argmin(np.hypot(*(grid - middle).T))] = True
    return cells.reshape(ROWS, COLUMNS)


def _in_still(
    made: Calibration, ring: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    places = np.column_stack(
        [np.asarray(ring, dtype=float), np.full(len(ring), BALL_CENTRE_HEIGHT_MM)]
    )
    return tuple((round(float(u), 1), round(float(v), 1)) for u, v in made.camera.project(places))


def _seen(made: Calibration) -> BoolArray:
    """(ROWS, COLUMNS): whether a ball at the cell's middle lies inside the picture."""
    grid = bed_grid_mm(made.table, ROWS, COLUMNS)
    wide, high = made.camera.image_size_px
    seen = np.ones(len(grid), dtype=np.bool_)
    for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        places = np.column_stack(
            [
                grid + BALL_RADIUS_MM * np.array([x, y]),
                np.full(len(grid), BALL_CENTRE_HEIGHT_MM),
            ]
        )
        u, v = made.camera.project(places).T
        seen &= (u >= 0) & (u <= wide - 1) & (v >= 0) & (v <= high - 1)
    return seen.reshape(ROWS, COLUMNS)


def _where(cells: BoolArray) -> tuple[str, ...]:
    """The bed's ninths that hold blind cells, in words."""
    words = []
    for i, end in enumerate(_ENDS):
        for j, side in enumerate(_SIDES):
            rows = slice(j * ROWS // 3, (j + 1) * ROWS // 3)
            columns = slice(i * COLUMNS // 3, (i + 1) * COLUMNS // 3)
            if cells[rows, columns].any():
                words.append(f"{end}, {side}" if side else end)
    return tuple(words)
