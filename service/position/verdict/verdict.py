"""What came of an attempt, as a value and as JSON."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from calibration import strict
from calibration.errors import FileFormatError
from calibration.strict import NotNegative, Share
from calibration.table import PointMm
from service.position.meant.intent import Intent
from service.position.zone.landing import LandingZone

from .arrival import zone_widths_mm
from .leaving import Left

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


def _listed(pair: tuple[float, float] | None) -> list[float] | None:
    return None if pair is None else list(pair)
