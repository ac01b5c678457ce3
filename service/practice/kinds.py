"""Kinds of shots: how far the cue ball was to travel, the cut played, rails, spin.

Bands go by what was planned, never by where the cue ball stopped: a shot left long would else
count among the longer ones for being long.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from calibration.table import Table
from service.position.meant.intent import Intent
from service.position.plan.polyline import Polyline
from service.position.shot.cut import cut_deg
from service.position.verdict.arrival import start_mm
from service.position.verdict.verdict import Verdict
from vision.layout import Layout

from .notes import Note

TRAVEL_BANDS_MM = (500.0, 1000.0, 2000.0)
"""Upper ends of all but the last band of the cue ball's planned way after the contact."""
CUT_BANDS_DEG = (14.5, 30.0, 48.6)
"""Three-quarter, half and quarter ball: upper ends of all but the last band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotKind:
    """What kind of shot an attempt was; None where it is not known."""

    travel_mm: float | None = None
    """Planned way of the cue ball from the contact: its route, else straight to the wanted spot,
    which is the least that it can run."""
    cut_deg: float | None = None
    """Cut of the shot that was played."""
    rails: int | None = None
    spin: str | None = None
    side_spin: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object, one key a field."""
        return asdict(self)

    def noted(self, note: Note | None) -> ShotKind:
        """The same with what the player noted; his count of rails goes before a drawn way's."""
        if note is None:
            return self
        rails = self.rails if note.rails is None else note.rails
        return replace(self, rails=rails, spin=note.spin, side_spin=note.side_spin)


def shot_kind(before: Layout, verdict: Verdict, table: Table) -> ShotKind:
    """Kind of a scored attempt from the layout before it and its plan.

    The way is the intent's route where one was drawn; without it the distance from the contact to
    the wanted spot, and the rails are not known.
    """
    intent = verdict.intent
    if intent is None:
        return ShotKind()
    cut = _played_cut(before, intent, table)
    if intent.route_mm is not None:
        route = Polyline.of(intent.route_mm, table)
        return ShotKind(travel_mm=route.way_mm, cut_deg=cut, rails=len(route.rails))
    start, wanted = start_mm(before, intent, table), verdict.wanted_mm
    travel = None if start is None or wanted is None else math.dist(start, wanted)
    return ShotKind(travel_mm=travel, cut_deg=cut)


def _played_cut(before: Layout, intent: Intent, table: Table) -> float | None:
    if intent.pot is None or intent.pocket is None:
        return None
    cue, ball = before.ball("cue"), before.ball(intent.pot)
    if cue is None or ball is None:
        return None
    aim = table.pocket(intent.pocket).aim_mm
    found = float(cut_deg(np.asarray(cue.centre_mm), ball.centre_mm, aim))
    return found if math.isfinite(found) else None
