"""The verdict on an attempt: where the cue ball stopped against where it should have."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from calibration import strict
from calibration.errors import FileFormatError
from calibration.strict import NotNegative, Share
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
    zone_widths_mm,
)
from .happened import check_layouts, moved_mm, potted
from .leaving import Left, left_by
from .probability import SURE, chance_inside

VERDICTS = ("in", "out", "too close to call")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What came of an attempt; a value that does not apply is None. mm, degrees, table frame."""

    verdict: str | None = None
    """``in``, ``out`` or ``too close to call``; None without an intent."""
    p_in: Share | None = None
    """Probability that the cue ball truly lies in the zone."""
    miss_mm: NotNegative | None = None
    miss_vector_mm: PointMm | None = None
    """From the nearest place in the zone to where the cue ball stopped."""
    along_mm: float | None = None
    """The miss (from the zone's nearest place) along the arrival line, + long."""
    across_mm: float | None = None
    """The miss across the arrival line, + left."""
    arrival: str | None = None
    """``seen`` or ``planned`` (a route was given); None where only the cut tells, or nothing."""
    arrival_from: str | None = None
    """``video``, ``route``, ``cut``, or None where no arrival is known."""
    arrival_range_deg: tuple[float, float] | None = None
    """From the cut: bearings between which the cue ball came, by whose middle the miss is split
    unless the range is too wide for that."""
    wanted_mm: PointMm | None = None
    """The zone's wanted spot."""
    cue_stop_mm: PointMm | None = None
    cut_deg: float | None = None
    side: str | None = None
    hooked: str | None = None
    path_to_pocket: str | None = None
    frozen: bool | None = None
    reach: str | None = None
    potted: tuple[str, ...] = ()
    scratch: bool = False
    pot_chance: float | None = None
    pot_chance_given_up: float | None = None
    assumed: tuple[str, ...] | None = None
    """The player's settings behind reach and pot chance that are starting values."""
    zone_empty: bool | None = None
    warnings: tuple[str, ...] = ()

    # not part of the printed object
    intent: Intent | None = None
    """With the balls that it leaves to the layout named."""
    zone: LandingZone | None = None
    left: Left | None = None
    """The next shot in full."""
    arrival_line_mm: tuple[PointMm, PointMm] | None = None
    """The arrival line: seen, planned, or by the middle of what the cut tells; None where a miss
    cannot be split by it."""
    offset_along_mm: float | None = None
    """Stop against the wanted spot, along the arrival line, + long; None where it cannot be
    split."""
    offset_across_mm: float | None = None

    @property
    def pot_made(self) -> bool | None:
        """Whether the ball to pot has left the table; None where none was named."""
        if self.intent is None or self.intent.pot is None:
            return None
        return self.intent.pot in self.potted

    @property
    def off_wanted_mm(self) -> float | None:
        """How far from the wanted spot the cue ball stopped, in the zone or out of it."""
        if self.wanted_mm is not None and self.cue_stop_mm is not None:
            return math.dist(self.wanted_mm, self.cue_stop_mm)
        if self.offset_along_mm is None or self.offset_across_mm is None:
            return None
        return math.hypot(self.offset_along_mm, self.offset_across_mm)

    @property
    def outside_zone_mm(self) -> dict[str, float | None] | None:
        """The miss against the zone's nearest place, along and across; None without a miss."""
        if self.miss_mm is None:
            return None
        return {"along_mm": self.along_mm, "across_mm": self.across_mm}

    @property
    def from_wanted_mm(self) -> dict[str, float | None] | None:
        """The stop against the wanted spot: distance, along and across; None without a spot."""
        if self.off_wanted_mm is None:
            return None
        return {
            "distance_mm": self.off_wanted_mm,
            "along_mm": self.offset_along_mm,
            "across_mm": self.offset_across_mm,
        }

    @property
    def zone_widths_mm(self) -> tuple[float, float] | None:
        """How far the zone reaches along and across the arrival line, through its wanted spot."""
        if self.zone is None or self.zone.wanted_mm is None or self.arrival_line_mm is None:
            return None
        return zone_widths_mm(self.zone, self.arrival_line_mm)

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``score --json`` prints it."""
        return {
            "verdict": self.verdict,
            "p_in": self.p_in,
            "miss_mm": self.miss_mm,
            "miss_vector_mm": _listed(self.miss_vector_mm),
            "along_mm": self.along_mm,
            "across_mm": self.across_mm,
            "arrival": self.arrival,
            "cue_stop_mm": _listed(self.cue_stop_mm),
            "cut_deg": self.cut_deg,
            "side": self.side,
            "hooked": self.hooked,
            "path_to_pocket": self.path_to_pocket,
            "frozen": self.frozen,
            "reach": self.reach,
            "potted": list(self.potted),
            "scratch": self.scratch,
            "pot_chance": self.pot_chance,
            "pot_chance_given_up": self.pot_chance_given_up,
            "zone_empty": self.zone_empty,
            "warnings": list(self.warnings),
            "arrival_from": self.arrival_from,
            "arrival_range_deg": _listed(self.arrival_range_deg),
            "outside_zone_mm": self.outside_zone_mm,
            "from_wanted_mm": self.from_wanted_mm,
            "wanted_mm": _listed(self.wanted_mm),
            "assumed": None if self.assumed is None else list(self.assumed),
        }

    @classmethod
    def from_dict(cls, data: object, *, path: str = "verdict") -> Verdict:
        """Inverse of ``to_dict``; what is not printed stays unset, further keys are passed over.

        Raises FileFormatError with the field's path.
        """
        row, known = strict.record(data, path), cls().to_dict()
        printed = {key: value for key, value in row.items() if key in known}
        out = strict.build(cls, printed, path=path, remedy="Score the attempt again.")
        if out.verdict not in (None, *VERDICTS):
            raise FileFormatError(
                f"{path}.verdict: got {strict.shown(out.verdict)}; allowed: {', '.join(VERDICTS)} "
                "or null. Score the attempt again."
            )
        return out


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
    what happened is said. Raises ``AttemptError`` for an obstructed, unsettled or foreign layout
    and ``IntentError`` where the intent contradicts the layout before.
    """
    check_layouts(before, after, table)
    if intent is not None:
        intent = intent.named_on(before)
        intent.check_on(before, table)
    parts = _Parts(before, after, intent, table, player or Player(), seen_from_mm)
    parts.gather()
    return Verdict(
        potted=tuple(potted(before, after)),
        scratch=after.ball("cue") is None,
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
        if cue is None:
            self.warnings.append("scratch: the cue ball is not on the table")
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
        if cue is None:
            self.values |= {"verdict": "out", "p_in": 0.0}
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

    def _left(self, zone: LandingZone, leave: Leave, cue: Ball) -> None:
        """What the stop leaves for the next ball."""
        left = left_by(cue, self.after, leave, zone)
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


def _listed(pair: tuple[float, float] | None) -> list[float] | None:
    return None if pair is None else list(pair)
