"""Maps as pictures of the bed alone, to be laid over a drawing of the table.

One picture covers the whole cells of a map from the head nose line on, y up; it is stretched to
their size. What is worst is told by a pattern too, never by its colour alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from .chance_map import band_colours

if TYPE_CHECKING:
    from service.position.plan.chance_map import ChanceMap
    from service.position.plan.where_map import WhereMap

_CELL_PX = 6
_WORST_BGRA = (20, 16, 12, 215)
_MIDDLE_BGRA = (60, 176, 255, 235)
_CLEAR = (0, 0, 0, 0)


def chance_png(chart: ChanceMap) -> bytes:
    """The chances in bands of colour; clear where no cue ball can lie or nothing can be potted."""
    return _png(band_colours(chart.chance))


def where_png(chart: WhereMap) -> bytes:
    """Dark and striped where the worst answer holds, dotted where the middle one does."""
    fine = np.repeat(np.repeat(chart.cells, _CELL_PX, axis=0), _CELL_PX, axis=1)
    row, column = np.indices(fine.shape)
    stripes = (row + column) % (2 * _CELL_PX) < _CELL_PX
    dots = (row % _CELL_PX < _CELL_PX // 2) & (column % _CELL_PX < _CELL_PX // 2)
    out = np.zeros((*fine.shape, 4), dtype=np.uint8)
    out[...] = _CLEAR
    out[(fine == 0)] = (*_WORST_BGRA[:3], _WORST_BGRA[3] // 2)
    out[(fine == 0) & stripes] = _WORST_BGRA
    out[(fine == 1) & dots] = _MIDDLE_BGRA
    return _png(out)


def _png(cells_bgra: NDArray[np.uint8]) -> bytes:
    # a picture's rows run down, the map's run up
    done, data = cv2.imencode(".png", cells_bgra[::-1])
    assert done
    return data.tobytes()
