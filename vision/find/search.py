"""Where to look for balls: in the whole view, or only where it differs from the last still's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, Table
from vision.place.centres import Placed

from .changes import Cells, Change, Comparer, Part, explained, parts_to_search, touched
from .detect import APART, Finder, Found, candidates, one_a_place
from .finder_view import FinderView

View = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Last:
    """What is kept of a clear still, for the next one of the same table."""

    cells: Cells
    aim_mm: NDArray[np.float64]
    camera: Camera


class Search:
    """Searches stills of one calibration; remembers the last that was clear."""

    def __init__(self, finder: Finder, view: FinderView, table: Table) -> None:
        self.finder = finder
        self.view = view
        self.table = table
        self.comparer = Comparer.of(view, table)
        self._last: _Last | None = None
        self._cells: tuple[View, Cells] | None = None
        self._changed: Change | None = None

    def afresh(self, seen: View, view: FinderView) -> Found:
        """Candidates of a whole view, whatever was before."""
        self._changed = None
        return candidates(self.finder.boxes(seen), view, self.table)

    def again(self, seen: View, camera: Camera) -> Found:
        """Candidates of a view (448, 832, 3): those of the last still where nothing changed."""
        changed = None
        cells = self.cells(seen)
        if self._last is not None and self._last.camera == camera:
            changed = self.comparer.changed(self._last.cells, cells)
        parts = None if changed is None else parts_to_search(changed.sure)
        if self._last is None or changed is None or parts is None:
            return self.afresh(seen, self.view)
        self._changed = changed
        kept = self._last.aim_mm[~touched(changed.sure, self.view, self._last.aim_mm)]
        boxes = [np.zeros((0, 6), np.float32), *(self._boxes(seen, part) for part in parts)]
        new = candidates(np.concatenate(boxes), self.view, self.table)
        places = np.concatenate([kept, new.centre_mm])
        score = np.concatenate([np.ones(len(kept)), new.score])
        alone = one_a_place(places, APART * BALL_DIAMETER_MM)
        return Found(centre_mm=places[alone], score=score[alone], things=new.things)

    def cells(self, seen: View) -> Cells:
        """Means of a view's cells, (112, 208, 3); made once while the view is the same array."""
        if self._cells is None or self._cells[0] is not seen:
            self._cells = (seen, self.comparer.cells(seen))
        return self._cells[1]

    def holds(self, found: Found, placed: Placed) -> bool:
        """Whether the last search can stand: balls explain all that changed.

        A ball that is gone may lie where little changed, so then even that must be explained.
        """
        if self._changed is None or self._last is None:
            return True
        if found.things:
            return False
        balls = np.concatenate([self._last.aim_mm, placed.centre_mm])
        fewer = len(placed.aim_mm) < len(self._last.aim_mm)
        return explained(self._changed.faint if fewer else self._changed.sure, self.view, balls)

    def keep(self, placed: Placed, camera: Camera) -> None:
        """Remember the still just searched, which is clear."""
        self._last = None
        if self._cells is not None:
            self._last = _Last(cells=self._cells[1], aim_mm=placed.aim_mm, camera=camera)

    def forget(self) -> None:
        """The next still is searched whole."""
        self._last = None

    def _boxes(self, seen: View, part: Part) -> NDArray[np.float32]:
        """The finder's boxes in one part of the view, in the whole view's pixels."""
        rows = slice(part.top, part.top + part.rows)
        columns = slice(part.left, part.left + part.columns)
        boxes = np.array(self.finder.boxes(seen[rows, columns]), np.float32)
        boxes[:, 0] += part.left
        boxes[:, 1] += part.top
        return boxes
