"""Free play in rotation: the rules name the ball, its best chance names the pocket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calibration.table import Table
from service.position import Intent, Player
from service.position.meant.intent import LOWEST
from service.position.verdict.value import chance_by_pocket
from service.position.zone.membership import leave_of
from vision.layout import Layout

from .tried import Tried
from .turn import Turn

BY_RULE = Intent(pot=LOWEST, next=LOWEST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rotation:
    """The lowest ball, then the next lowest; limits of the leave come from the plan's intent."""

    rule: Intent = BY_RULE
    player: Player | None = None

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn | None:
        """The turn on this layout; None where no two object balls or no cue ball lie there."""
        if layout is None or table is None or layout.ball("cue") is None:
            return None
        if sum(ball.id != "cue" for ball in layout.balls) < 2:
            return None
        intent = self.rule.named_on(layout)
        if intent.pocket is None:
            pocket = best_pocket(layout, str(intent.pot), table, self.player or Player())
            intent = replace(intent, pocket=pocket)
        return Turn(intent=intent)

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """Balls potted in rotation, and the most in a row."""
        best = run = 0
        for each in tried:
            run = run + 1 if each.pot else 0
            best = max(best, run)
        return {"potted": sum(bool(t.pot) for t in tried), "longest_run": best}


def best_pocket(layout: Layout, ball: str, table: Table, player: Player) -> str | None:
    """The pocket with the best chance for a ball from where the cue ball lies; None without any."""
    cue = layout.ball("cue")
    places = {each.id: each.centre_mm for each in layout.balls if each.id != "cue"}
    leave = leave_of(Intent(next=ball), table, player, places)
    if cue is None or leave is None:
        return None
    found = chance_by_pocket(np.asarray(cue.centre_mm), leave)
    chances = {pocket: float(chance) for pocket, chance in found.items() if float(chance) > 0}
    return max(chances, key=lambda pocket: chances[pocket], default=None)
