"""What a stop made impossible: pockets that the wanted spot would have offered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.table import BALL_DIAMETER_MM, PointMm
from service.position.geometry import nearest_on_segment
from service.position.shot.cut import cut_deg
from service.position.shot.path import EDGE_MM
from service.position.shot.reach import reached
from service.position.zone.membership import Leave

from .value import OpenPocket, open_pockets


@dataclass(frozen=True, slots=True, kw_only=True)
class Impossible:
    """A pot that cannot be played any more, and why."""

    ball: str
    pocket: str
    why: str

    def __str__(self) -> str:
        return f"ball {self.ball} to {self.pocket}: {self.why}"


def became_impossible(
    stop_mm: PointMm, wanted_mm: PointMm | None, leave: Leave
) -> tuple[Impossible, ...]:
    """Pots of the next ball that the wanted spot offers and the stop does not."""
    if wanted_mm is None:
        return ()
    found = []
    for pocket in open_pockets(leave.object_mm, leave.others_mm, leave.table):
        why = why_not(stop_mm, pocket, leave)
        if why is not None and why_not(wanted_mm, pocket, leave) is None:
            found.append(Impossible(ball=leave.ball, pocket=pocket.name, why=why))
    return tuple(found)


def why_not(cue_mm: PointMm, pocket: OpenPocket, leave: Leave) -> str | None:
    """Why the ball cannot be played into an open pocket from a place; None where it can."""
    aim = np.asarray(leave.object_mm) + np.asarray(pocket.line)
    cut = float(cut_deg(cue_mm, leave.object_mm, aim))
    if cut >= 90:
        return f"the cut would be {cut:.0f}°"
    blocking = _blocking(cue_mm, pocket.ghost_mm, leave)
    if blocking:
        return f"ball {', '.join(blocking)} blocks the way"
    if not bool(reached(cue_mm, pocket.ghost_mm, leave.table, leave.player, bridge=True)):
        return "the cue ball is out of reach"
    return None


def _blocking(cue_mm: PointMm, ghost_mm: PointMm, leave: Leave) -> Sequence[str]:
    if not leave.others_mm:
        return ()
    others = np.asarray(leave.others_mm)
    _, near = nearest_on_segment(others, np.asarray(cue_mm), np.asarray(ghost_mm))
    return [leave.other_names[i] for i in np.flatnonzero(near < BALL_DIAMETER_MM - EDGE_MM)]
