"""The verdict on an attempt: where the cue ball stopped against where it should have."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from calibration.table import PointMm, Table
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.shot.frozen import is_frozen
from service.position.zone.landing import LandingZone, landing_zone
from service.position.zone.membership import Leave, leave_of
from vision.layout import Ball, Layout

from .arrival import (
    Arrival,
    across_mm,
    along_mm,
    arrival_of,
    split_warnings,
)
from .happened import check_layouts, missing, moved_mm, potted
from .leaving import left_by
from .probability import SURE, chance_inside
from .unseen import hides_way, not_seen
from .verdict import Verdict


def score_shot(
    before: Layout,
    after: Layout,
    intent: Intent | None,
    table: Table,
    *,
    player: Player | None = None,
    seen_from_mm: PointMm | None = None,
) -> Verdict:
    """Score one attempt.

    ``seen_from_mm``: where the cue ball is known to have come from last, the ball to pot or the
    last rail; without it the arrival is that of the intent's route, else what the cut tells, else
    unknown, and then the miss is not split.

    The zone is that of the layout after the shot, on which the next ball is played: whatever
    still lies on the table, a missed ball too, counts as an obstacle. Without an intent only
    what happened is said. Where a part of the bed is hidden, a ball that is missing is neither
    potted nor scratched, and a way through that part is too close to call.

    Raises ``AttemptError`` for an obstructed, unsettled or foreign layout and ``IntentError`` where
    the intent contradicts the layout before.
    """
    check_layouts(before, after, table)
    if intent is not None:
        intent = intent.named_on(before)
        intent.check_on(before, table)
    parts = _Parts(before, after, intent, table, player or Player(), seen_from_mm)
    parts.gather()
    return Verdict(
        potted=tuple(potted(before, after)),
        scratch=after.ball("cue") is None and not after.hidden_mm,
        intent=intent,
        warnings=tuple(parts.warnings),
        **parts.values,
    )


@dataclass(slots=True)
class _Parts:
    """Collects a verdict's values step by step."""

    before: Layout
    after: Layout
    intent: Intent | None
    table: Table
    player: Player
    seen_from_mm: PointMm | None = None
    arrival: Arrival | None = None
    values: dict[str, Any] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)

    def gather(self) -> None:
        cue = self.after.ball("cue")
        if self.intent is not None:
            if self.intent.pot is not None and self.after.ball(self.intent.pot) is not None:
                self.warnings.append(f"pot {self.intent.pot} missed")
            zone = landing_zone(
                self.after, self.intent, self.table, player=self.player, pot_gone=False
            )
            self.values |= {"zone": zone, "zone_empty": zone.is_empty}
            if self.intent.unused:
                unused = ", ".join(self.intent.unused)
                self.warnings.append(f"the zone is taken as drawn: {unused} does not limit it")
            if zone.is_empty:
                self.warnings.append(f"no landing zone on this layout: {zone.emptied_why}")
            self._arrival(zone)
            self._stop(zone, cue)
        if self.after.hidden_mm:
            lost = missing(self.before, self.after)
            self.warnings += [not_seen(f"ball {ball}") for ball in lost]
        if cue is None:
            self.warnings.append(
                not_seen("the cue ball")
                if self.after.hidden_mm
                else "scratch: the cue ball is not on the table"
            )
        else:
            self.values |= {
                "cue_stop_mm": cue.centre_mm,
                "frozen": is_frozen(cue, self.after, self.table),
            }
        self._layout_warnings()

    def _arrival(self, zone: LandingZone) -> None:
        """How the cue ball came, where it came to a stop that can be judged."""
        assert self.intent is not None
        found = arrival_of(
            self.before, self.after, self.intent, self.table, seen_from_mm=self.seen_from_mm
        )
        self.values |= {
            "wanted_mm": zone.wanted_mm,
            "arrival_line_mm": found.line_mm if found is not None and found.splits else None,
        }
        if zone.is_empty or self.after.ball("cue") is None:
            return
        self.arrival = found
        if found is not None:
            self.values |= {
                "arrival": found.word,
                "arrival_from": found.source,
                "arrival_range_deg": found.range_deg,
            }

    def _stop(self, zone: LandingZone, cue: Ball | None) -> None:
        """Verdict, miss and what was left, for a cue ball on the table or a scratch."""
        if cue is None or self._next_hidden():
            hidden = bool(self.after.hidden_mm)
            self.values |= (
                {"verdict": "too close to call"} if hidden else {"verdict": "out", "p_in": 0.0}
            )
            return
        self.values |= _miss(zone, cue, self.arrival)
        if self.values.get("miss_mm"):
            self.warnings += split_warnings(self.arrival)
        chance = chance_inside(zone, cue, self.after.balls)
        self.values |= {"p_in": chance, "verdict": _call(zone, self.values.get("miss_mm"), chance)}
        assert self.intent is not None
        places = {ball.id: ball.centre_mm for ball in self.after.balls}
        leave = leave_of(self.intent, self.table, self.player, places)
        if leave is not None:
            self._left(zone, leave, cue)

    def _next_hidden(self) -> bool:
        """Whether the next ball may lie on the table unseen: there is no zone to judge by."""
        wanted = self.intent.next if self.intent is not None else None
        missed = wanted is not None and self.after.ball(wanted) is None
        return missed and bool(self.after.hidden_mm)

    def _left(self, zone: LandingZone, leave: Leave, cue: Ball) -> None:
        """What the stop leaves for the next ball."""
        left = left_by(cue, self.after, leave, zone)
        if left.path_to_pocket == "open" and hides_way(self.after, left.way_mm):
            left = replace(left, path_to_pocket="too close to call")
            if self.values["verdict"] == "in":
                self.values["verdict"] = "too close to call"
            self.warnings.append(
                f"what is over the bed hides a part of the way to ball {left.ball} and on to "
                f"{left.pocket}: a ball could lie in it"
            )
        self.values |= {
            "left": left,
            "cut_deg": left.cut_deg,
            "side": left.side,
            "hooked": left.hooked,
            "path_to_pocket": left.path_to_pocket,
            "reach": left.reach,
            "pot_chance": left.pot_chance,
            "pot_chance_given_up": left.pot_chance_given_up,
            "assumed": tuple(self.player.assumed()),
        }
        self.warnings += left.warnings()
        if leave.pocket is None:
            self.warnings.append(
                f"no next pocket was named: judged for ball {left.ball} to {left.pocket}"
            )

    def _layout_warnings(self) -> None:
        for when, layout in (("before", self.before), ("after", self.after)):
            doubtful = [ball.id for ball in layout.balls if ball.doubtful]
            if doubtful:
                self.warnings.append(
                    f"{when} the shot the name of ball {', '.join(doubtful)} is in doubt"
                )
        named = {"cue"} | ({self.intent.pot} if self.intent is not None else set())
        there = {ball.id: ball for ball in self.before.balls}
        for ball in self.after.balls:
            was = there.get(ball.id)
            if was is None:
                self.warnings.append(f"ball {ball.id} is there only after the shot")
            elif ball.id not in named and (moved := moved_mm(was, ball)) > 0:
                self.warnings.append(f"ball {ball.id} moved {moved:.0f} mm")


def _miss(zone: LandingZone, cue: Ball, arrival: Arrival | None) -> dict[str, Any]:
    stop = cue.centre_mm
    nearest = zone.nearest_mm(stop)
    if nearest is None or zone.wanted_mm is None:
        return {}
    vector = (stop[0] - nearest[0], stop[1] - nearest[1])
    offset = (stop[0] - zone.wanted_mm[0], stop[1] - zone.wanted_mm[1])
    out: dict[str, Any] = {
        "miss_vector_mm": vector,
        "miss_mm": float(np.hypot(*vector)),
    }
    if arrival is not None and arrival.splits:
        line = arrival.line_mm
        out |= {
            "along_mm": along_mm(vector, line),
            "across_mm": across_mm(vector, line),
            "offset_along_mm": along_mm(offset, line),
            "offset_across_mm": across_mm(offset, line),
        }
    return out


def _call(zone: LandingZone, miss_mm: float | None, chance: float) -> str:
    """The word for a probability; it never contradicts the miss that is printed beside it."""
    if zone.is_empty or miss_mm is None:
        return "out"
    if miss_mm > 0:
        return "out" if chance <= 1 - SURE else "too close to call"
    return "in" if chance >= SURE else "too close to call"
