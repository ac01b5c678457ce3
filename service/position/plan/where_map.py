"""From where a ball can be played at all: reach, and what hides it, on a grid of the bed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.table import Table
from service.position.errors import IntentError
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.shot.cut import ghost_ball_mm
from service.position.shot.hooked import SLIVER_RAD, visible_shares
from service.position.shot.reach import reached
from service.position.zone.membership import Leave, aim_of, leave_of
from vision.layout import Layout

from .grid import axes_mm, free_cells

STEP_MM = 20.0
REACHES = ("out of reach", "bridge", "hand")
HOOKS = ("yes", "partly", "no")
NOWHERE = -1
"""Where no cue ball can lie: cushions and other balls."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WhereMap:
    """One answer a cell; rows from y = 0 upward, columns from the head nose line.

    The cell in row i and column j has its middle at ((j + ½)·step, (i + ½)·step) mm.
    """

    ball: str
    surface_mm: tuple[float, float]
    step_mm: float
    answers: tuple[str, ...]
    """What a cell's number stands for, from the worst up."""
    cells: NDArray[np.int8]
    """(rows, columns): index into ``answers``; −1 where no cue ball can lie."""
    assumed: tuple[str, ...] = ()
    """The player's settings behind it that are starting values."""


def reach_map(
    layout: Layout,
    ball: str,
    pocket: str,
    table: Table,
    *,
    player: Player | None = None,
    step_mm: float = STEP_MM,
) -> WhereMap:
    """By hand, with the bridge or not at all, for a shot of ``ball`` into ``pocket``.

    Raises:
        IntentError: the ball is not on the table, or there is no such pocket.
    """
    player = player or Player()
    leave = _leave(layout, ball, table, player, pocket=pocket)
    places, free = _places(layout, table, step_mm)
    ghost = ghost_ball_mm(leave.object_mm, aim_of(table, pocket))
    by_bridge = reached(places, ghost, table, player, bridge=True)
    by_hand = reached(places, ghost, table, player, bridge=False)
    cells = np.full(free.shape, NOWHERE, dtype=np.int8)
    cells[free] = by_bridge.astype(np.int8) + by_hand
    return WhereMap(
        ball=ball, surface_mm=table.surface_mm, step_mm=step_mm, answers=REACHES, cells=cells,
        assumed=tuple(name for name in player.assumed() if name.startswith(("hand", "bridge"))),
    )  # fmt: skip


def hooked_map(layout: Layout, ball: str, table: Table, *, step_mm: float = STEP_MM) -> WhereMap:
    """Hooked, partly hooked or free towards ``ball``; the cue ball's own place does not count.

    Raises:
        IntentError: the ball is not on the table.
    """
    leave = _leave(layout, ball, table, Player())
    places, free = _places(layout, table, step_mm)
    shares = visible_shares(places, leave.object_mm, leave.others_mm)
    cells = np.full(free.shape, NOWHERE, dtype=np.int8)
    cells[free] = np.where(shares >= 1.0 - SLIVER_RAD, 2, np.where(shares <= SLIVER_RAD, 0, 1))
    return WhereMap(
        ball=ball, surface_mm=table.surface_mm, step_mm=step_mm, answers=HOOKS, cells=cells
    )


def _places(layout: Layout, table: Table, step_mm: float) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where a cue ball can lie (N, 2), and which cells those are (rows, columns)."""
    x, y = axes_mm(table, step_mm)
    balls = [ball.centre_mm for ball in layout.balls if ball.id != "cue"]
    free = free_cells(x, y, table, balls)
    rows, columns = np.nonzero(free)
    return np.stack([x[columns], y[rows]], axis=-1), free


def _leave(
    layout: Layout, ball: str, table: Table, player: Player, *, pocket: str | None = None
) -> Leave:
    places = {other.id: other.centre_mm for other in layout.balls if other.id != "cue"}
    leave = leave_of(Intent(next=ball, next_pocket=pocket), table, player, places)
    if leave is None:
        raise IntentError(
            f"ball: got {ball!r}, which is not on the table; allowed: the object balls there "
            f"({', '.join(places) or 'none'}). Name one of them."
        )
    return leave
