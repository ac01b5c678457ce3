"""One attempt as a row of a table, for console, page and report alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from service.position.verdict.judged import judged_angle, judged_side

from .balls import target
from .intents import cut_wanted, cut_wanted_deg
from .lengths import MILLIMETRES, Lengths
from .plain import NONE, percent_or_none
from .verdicts import TONES

if TYPE_CHECKING:
    from service.position import Verdict

OUTSIDE_HEADING = "Outside the zone by"
WANTED_HEADING = "From the wanted spot"
CUT_HEADING = "Remaining cut"
CHANCE_HEADING = "Chance from there"


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptRow:
    """One attempt's figures as short texts; lengths without their unit, which a heading has."""

    pot: str
    """The ball to pot and its pocket."""
    made: str
    """``made`` or ``missed``."""
    next: str
    verdict: str
    tone: str
    outside: str
    """From the nearest edge of the zone: ``84: 62 short, 57 left``; 0 inside it."""
    from_wanted: str
    """From the wanted spot: ``196: 193 short, 32 right``; without its sides where no arrival line
    is known."""
    cut: str
    wanted: str
    """The cut that was wanted."""
    is_cut_bad: bool
    side: str
    chance: str


def attempt_row(verdict: Verdict, lengths: Lengths = MILLIMETRES) -> AttemptRow:
    """The figures of a scored attempt; a dash where one does not apply."""
    intent = verdict.intent
    judged = judged_angle(verdict.cut_deg, cut_wanted_deg(intent))
    side = verdict.side or NONE
    wrong = intent is not None and judged_side(verdict.side, intent.side) == "wrong side"
    return AttemptRow(
        pot=NONE if intent is None else target(intent.pot, intent.pocket),
        made={True: "made", False: "missed", None: NONE}[verdict.pot_made],
        next=NONE if intent is None else target(intent.next, intent.next_pocket),
        verdict="scratch" if verdict.scratch else verdict.verdict or NONE,
        tone=TONES.get(verdict.verdict or "", "plain"),
        outside=_outside(verdict, lengths),
        from_wanted=_from_wanted(verdict, lengths),
        cut=NONE if verdict.cut_deg is None else f"{verdict.cut_deg:.0f}°",
        wanted=cut_wanted(intent) or NONE,
        is_cut_bad=judged not in ("", "good angle"),
        side=f"{side}, wrong side" if wrong else side,
        chance=percent_or_none(verdict.pot_chance),
    )


def in_unit(split: str, sign: str) -> str:
    """A row's distance where no heading has its unit: ``84 mm: 62 short, 57 left``."""
    whole, colon, sides = split.partition(":")
    return f"{whole} {sign}{colon}{sides}"


def _outside(verdict: Verdict, lengths: Lengths) -> str:
    if verdict.miss_mm is None:
        return NONE
    return lengths.split(verdict.miss_mm, verdict.along_mm, verdict.across_mm)


def _from_wanted(verdict: Verdict, lengths: Lengths) -> str:
    if verdict.off_wanted_mm is None:
        return NONE
    return lengths.split(verdict.off_wanted_mm, verdict.offset_along_mm, verdict.offset_across_mm)
