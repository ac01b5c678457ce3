"""How a moved camera shifts the places of one plane in the picture, as a cheap smooth field.

Maps made for the old pose serve the new one when this is added: no need to make them again.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from .camera import Camera
from .table import BALL_CENTRE_HEIGHT_MM

FloatArray = NDArray[np.float64]
_NODES = 7
"""A side: the field of a move within the correctable is polynomial to 0.001 px by then."""


def plane_shift_px(
    told: Camera,
    real: Camera,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    height_mm: float = BALL_CENTRE_HEIGHT_MM,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Pixels by which ``real`` sees the plane's places further right, and down, than ``told``.

    ``x_mm`` (C,) and ``y_mm`` (R,) are the table places of a map's columns and rows, ascending;
    both results are (R, C). Interpolated from exact differences at Chebyshev nodes.
    """
    nodes = chebyshev.chebpts1(_NODES)
    along, to_x = _spread(np.asarray(x_mm, dtype=float), nodes)
    across, to_y = _spread(np.asarray(y_mm, dtype=float), nodes)
    grid_x, grid_y = np.meshgrid(along, across)
    points = np.stack([grid_x, grid_y, np.full_like(grid_x, height_mm)], axis=-1).reshape(-1, 3)
    off = (real.project(points) - told.project(points)).astype(np.float32)
    right, down = off.T.reshape(2, _NODES, _NODES)
    return (
        np.asarray(to_y @ right @ to_x.T, dtype=np.float32),
        np.asarray(to_y @ down @ to_x.T, dtype=np.float32),
    )


def _spread(places_mm: FloatArray, nodes: FloatArray) -> tuple[FloatArray, NDArray[np.float32]]:
    """Nodes over the places' range, mm, and the weights (n, nodes) of their values at each."""
    middle, half = (places_mm[-1] + places_mm[0]) / 2, (places_mm[-1] - places_mm[0]) / 2
    degree = len(nodes) - 1
    at_nodes = np.linalg.inv(chebyshev.chebvander(nodes, degree))
    at_places = chebyshev.chebvander((places_mm - middle) / half, degree)
    return middle + half * nodes, (at_places @ at_nodes).astype(np.float32)
