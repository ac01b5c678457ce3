"""The pot chance of the next ball from everywhere on the bed, on a grid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import POCKET_NAMES, PointMm, Table
from service.position.errors import IntentError
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.verdict.value import chance_by_pocket
from service.position.zone.membership import leave_of
from vision.layout import Layout

from .grid import axes_mm, free_cells

MAP_STEP_MM = 10.0
NO_POCKET = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class ChanceMap:
    """Pot chances of one ball by cell; rows from y = 0 upward, columns from the head nose line.

    The cell in row i and column j has its middle at ((j + ½)·step, (i + ½)·step) mm.
    """

    ball: str
    surface_mm: tuple[float, float]
    step_mm: float
    chance: FloatArray
    """(rows, columns), 0 … 1; NaN where no cue ball can lie: cushions and other balls."""
    pocket: NDArray[np.int8]
    """(rows, columns): index into ``POCKET_NAMES`` of the best pocket, −1 where none is open."""
    assumed: tuple[str, ...] = ()
    """The player's settings behind the chances that are starting values."""

    @property
    def best(self) -> tuple[PointMm, float] | None:
        """The best place and its chance; None where no cue ball can lie anywhere."""
        if np.isnan(self.chance).all():
            return None
        row, column = np.unravel_index(int(np.nanargmax(self.chance)), self.chance.shape)
        place = ((float(column) + 0.5) * self.step_mm, (float(row) + 0.5) * self.step_mm)
        return place, float(self.chance[row, column])

    def at(self, place_mm: PointMm) -> float | None:
        """The chance in the cell of a place; None off the bed and where no cue ball can lie."""
        row, column = math.floor(place_mm[1] / self.step_mm), math.floor(place_mm[0] / self.step_mm)
        rows, columns = self.chance.shape
        if not (0 <= row < rows and 0 <= column < columns):
            return None
        chance = float(self.chance[row, column])
        return None if math.isnan(chance) else chance


def chance_map(
    layout: Layout,
    ball: str,
    table: Table,
    *,
    pockets: Sequence[str] = POCKET_NAMES,
    player: Player | None = None,
    step_mm: float = MAP_STEP_MM,
) -> ChanceMap:
    """Pot chances of ``ball`` from every cell, in the best of ``pockets`` open from there.

    The cue ball's own place does not count. Reach counts as the player's settings say.

    Raises:
        IntentError: the ball is not on the table.
    """
    places = {other.id: other.centre_mm for other in layout.balls if other.id != "cue"}
    player = player or Player()
    leave = leave_of(Intent(next=ball), table, player, places)
    if leave is None:
        raise IntentError(
            f"ball: got {ball!r}, which is not on the table; allowed: the object balls there "
            f"({', '.join(places) or 'none'}). Name one of them."
        )
    x, y = axes_mm(table, step_mm)
    free = free_cells(x, y, table, list(places.values()))
    rows, columns = np.nonzero(free)
    cue = np.stack([x[columns], y[rows]], axis=-1)
    chance = np.zeros(len(cue))
    best = np.full(len(cue), NO_POCKET, dtype=np.int8)
    for name, own in chance_by_pocket(cue, leave).items():
        if name in pockets:
            better = own > chance
            chance[better], best[better] = own[better], POCKET_NAMES.index(name)
    grid, which = np.full(free.shape, np.nan), np.full(free.shape, NO_POCKET, dtype=np.int8)
    grid[free], which[free] = chance, best
    return ChanceMap(
        ball=ball, surface_mm=table.surface_mm, step_mm=step_mm, chance=grid, pocket=which,
        assumed=tuple(player.assumed()),
    )  # fmt: skip
