"""The stated error of a calibration over the bed, worked out from its covariance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from calibration import jsonfile
from calibration.arrays import BoolArray, FloatArray
from calibration.camera import Camera
from calibration.chi_square import PLANE_95
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table

GRID = (15, 30)
"""Rows across and columns along the bed at which the error is judged: cells of 85 mm on a 9 ft
table, a ball and a half."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Stated 95 % error of the calibration alone over the bed, at ball height.

    Against a tape measure that starts at the head nose and the lower long nose; the surface's
    own error counts in full.
    """

    median_mm: float
    worst_mm: float
    worst_at_mm: tuple[float, float]
    rows: int
    columns: int
    height_mm: float
    noses_median_mm: float
    noses_worst_mm: float
    """The same against the noses all round: what readings carry."""
    map_mm: tuple[tuple[float, ...], ...]
    """rows × columns: the error at the middle of each cell, from y = 0 upward and from the head
    on."""

    @classmethod
    def of(cls, camera: Camera, table: Table, covariance_mm2: Callable[..., FloatArray]) -> Budget:
        """From ``Calibration.own_covariance_mm2`` of a calibration of ``table``.

        Median and worst are of what the camera sees of the bed; the map is of all.
        """
        grid = bed_grid_mm(table)
        radius = radius_95_mm(covariance_mm2(grid, by_tape=True))
        shown = in_picture(camera, grid)
        by_noses = radius_95_mm(covariance_mm2(grid))[shown]
        worst = int(np.argmax(np.where(shown, radius, -1.0)))
        return cls(
            median_mm=float(np.median(radius[shown])),
            worst_mm=float(radius[worst]),
            worst_at_mm=(float(grid[worst, 0]), float(grid[worst, 1])),
            rows=GRID[0],
            columns=GRID[1],
            height_mm=BALL_CENTRE_HEIGHT_MM,
            noses_median_mm=float(np.median(by_noses)),
            noses_worst_mm=float(by_noses.max()),
            map_mm=tuple(
                tuple(round(float(value), 4) for value in row) for row in radius.reshape(GRID)
            ),
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            **asdict(self),
            "worst_at_mm": list(self.worst_at_mm),
            "map_mm": jsonfile.as_lists(self.map_mm),
        }


def bed_grid_mm(table: Table, rows: int = GRID[0], columns: int = GRID[1]) -> FloatArray:
    """Cell centres over the playing surface, (rows · columns, 2), mm."""
    along = (np.arange(columns) + 0.5) / columns * table.length_mm
    across = (np.arange(rows) + 0.5) / rows * table.width_mm
    grid_y, grid_x = np.meshgrid(across, along, indexing="ij")
    return np.column_stack([grid_x.ravel(), grid_y.ravel()])


def in_picture(camera: Camera, places_mm: FloatArray) -> BoolArray:
    """Which ball centres at (N, 2) mm the picture shows, (N,); all where it shows none."""
    at = camera.project(
        np.column_stack([places_mm, np.full(len(places_mm), BALL_CENTRE_HEIGHT_MM)])
    )
    inside = ((at >= 0) & (at <= np.asarray(camera.image_size_px) - 1)).all(axis=1)
    return np.asarray(inside if inside.any() else ~inside, dtype=np.bool_)


def radius_95_mm(cov_mm2: FloatArray) -> FloatArray:
    """Longer semi-axis of the 95 % ellipse, (N,), of covariances (N, 2, 2)."""
    return np.asarray(np.sqrt(PLANE_95 * np.linalg.eigvalsh(cov_mm2)[:, 1]))
