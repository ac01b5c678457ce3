"""One attempt, fact by fact: a label, a figure, and what stands small beside it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration.table import PointMm
from service.position.meant.settings import CHANCE_SETTINGS, REACH_SETTINGS, ROUTE_SETTINGS
from service.position.verdict.judged import angle_off_deg, judged_angle, judged_side
from vision.layout import Ball

from .balls import ball_name, error_95_mm, pocket_name, target
from .intents import cut_wanted, cut_wanted_deg
from .lengths import MILLIMETRES, Lengths, ball_widths
from .plain import joined, percent
from .verdicts import arrival_words

if TYPE_CHECKING:
    from service.position import Verdict
    from service.position.verdict.leaving import Left


BETTER_CHANCE = 0.05
"""Another pocket is named where its chance is better by this much."""
_REACH = {"hand": "by hand", "bridge": "with the mechanical bridge"}
_HOOKED = {"no": "no", "partly": "partly hooked", "yes": "hooked"}
_WAY_TONES = {"blocked": "out", "too close to call": "close"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A figure with its name and what stands small beside it."""

    label: str
    value: str
    aside: str = ""
    tone: str = ""
    """``in`` where it counts for the attempt, ``out`` against it, ``close`` where it is open."""

    @property
    def line(self) -> str:
        """The whole in one line, for a console or a list."""
        return f"{self.label}: {self.value}{f' ({self.aside})' if self.aside else ''}"


def facts(
    verdict: Verdict, *, cue: Ball | None = None, lengths: Lengths = MILLIMETRES
) -> tuple[Fact, ...]:
    """All that the verdict says, most wanted first; what does not apply is left out.

    ``cue`` is the cue ball as it was read after the shot: it adds its error to the stop.
    """
    found = [_pot(verdict)]
    if not verdict.scratch:
        found += [
            outside_zone(verdict, lengths),
            from_wanted(verdict, lengths),
            _zone(verdict, lengths),
            _stop(verdict, cue, lengths),
            _cut(verdict),
            _side(verdict),
            _way(verdict),
            _hooked(verdict),
            _reach(verdict),
            _raised(verdict.left),
            _chance(verdict),
            _lost(verdict.left),
        ]
    return tuple(fact for fact in found if fact is not None)


# -- where it stopped ----------------------------------------------------------------------


def outside_zone(verdict: Verdict, lengths: Lengths) -> Fact | None:
    """How far from the nearest edge of the zone, long or short and left or right of it."""
    if not verdict.miss_mm:
        return None
    split = lengths.off(verdict.along_mm, verdict.across_mm)
    return Fact(
        label="Outside the zone by",
        value=lengths.text(verdict.miss_mm) + (f": {split}" if split else ""),
        aside=f"{ball_widths(verdict.miss_mm)}, from its nearest edge"
        f"{_reference(verdict, verdict.miss_vector_mm, lengths)}",
        tone="out" if verdict.verdict == "out" else "close",
    )


def from_wanted(verdict: Verdict, lengths: Lengths) -> Fact | None:
    """How far from the wanted spot, whether in the zone or not."""
    if verdict.off_wanted_mm is None:
        return None
    split = lengths.off(verdict.offset_along_mm, verdict.offset_across_mm)
    stop, wanted = verdict.cue_stop_mm, verdict.wanted_mm
    vector = None
    if stop is not None and wanted is not None:
        vector = (stop[0] - wanted[0], stop[1] - wanted[1])
    return Fact(
        label="From the wanted spot",
        value=lengths.text(verdict.off_wanted_mm) + (f": {split}" if split else ""),
        aside=f"the spot with the most room{_reference(verdict, vector, lengths)}",
    )


def _reference(verdict: Verdict, vector_mm: PointMm | None, lengths: Lengths) -> str:
    """What a distance is split by: the arrival line by name, else the table."""
    if verdict.along_mm is not None:
        return f"; along and across the {arrival_words(verdict)}{_range(verdict)}"
    if vector_mm is None or not (by_table := lengths.by_table(vector_mm)):
        return ""
    known = _range(verdict)
    lead = (
        f"the arrival line is too rough for sides{known}" if known else "no arrival line is known"
    )
    return f"; {lead}: {by_table}"


def _range(verdict: Verdict) -> str:
    """How far the direction itself is uncertain."""
    if verdict.arrival_range_deg is None:
        return ""
    low, high = verdict.arrival_range_deg
    return f", known to ±{(high - low) / 2:.0f}°"


def _zone(verdict: Verdict, lengths: Lengths) -> Fact | None:
    widths = verdict.zone_widths_mm
    if widths is None or verdict.offset_along_mm is None:
        return None
    deep, wide = map(lengths.text, widths)
    aside = "along and across the arrival line, through the wanted spot"
    return Fact(label="Zone", value=f"{deep} deep, {wide} wide", aside=aside)


def _stop(verdict: Verdict, cue: Ball | None, lengths: Lengths) -> Fact | None:
    if verdict.cue_stop_mm is None:
        return None
    spread = "" if cue is None else f" ± {lengths.text(error_95_mm(cue), fine=True)}"
    asides = [lengths.beside(verdict.cue_stop_mm)]
    if cue is not None:
        asides.append("error 95 %")
    if verdict.frozen:
        asides.append("frozen to a cushion or ball")
    return Fact(
        label="Cue ball stopped at",
        value=f"{lengths.place(verdict.cue_stop_mm, fine=cue is not None)}{spread}",
        aside=", ".join(filter(None, asides)),
    )


# -- what it leaves ------------------------------------------------------------------------


def _cut(verdict: Verdict) -> Fact | None:
    if verdict.cut_deg is None:
        return None
    wanted_deg = cut_wanted_deg(verdict.intent)
    judged = judged_angle(verdict.cut_deg, wanted_deg)
    off = abs(angle_off_deg(verdict.cut_deg, wanted_deg) or 0.0)
    by = f" by {off:.0f}°" if off >= 0.5 else ""
    tones = {"": "", "good angle": "in"}
    return Fact(
        label="Remaining cut",
        value=f"{verdict.cut_deg:.0f}°",
        aside=f"wanted {cut_wanted(verdict.intent)}: {judged}{by}" if judged else "",
        tone=tones.get(judged, "out"),
    )


def _side(verdict: Verdict) -> Fact | None:
    if verdict.side is None:
        return None
    wanted = None if verdict.intent is None else verdict.intent.side
    judged = judged_side(verdict.side, wanted)
    straight = verdict.side == "straight"
    asides = {"right side": "as wanted", "wrong side": f"wrong side, {wanted} wanted"}
    return Fact(
        label="Side",
        value="straight in" if straight else f"{verdict.side} of the potting line",
        aside=asides.get(judged, ""),
        tone={"right side": "in", "wrong side": "out"}.get(judged, ""),
    )


def _way(verdict: Verdict) -> Fact | None:
    path = verdict.path_to_pocket
    if path is None:
        return None
    return Fact(label="Path of the next ball", value=path, tone=_WAY_TONES.get(path, ""))


def _hooked(verdict: Verdict) -> Fact | None:
    if verdict.hooked is None:
        return None
    aside = ""
    if verdict.hooked == "partly" and verdict.left is not None:
        aside = f"{percent(verdict.left.visible_share)} of the ball can be hit first"
    tone = {"yes": "out", "partly": "close"}.get(verdict.hooked, "")
    return Fact(label="Hooked", value=_HOOKED[verdict.hooked], aside=aside, tone=tone)


def _reach(verdict: Verdict) -> Fact | None:
    if verdict.reach is None:
        return None
    tone = "out" if verdict.reach == "out of reach" else ""
    return Fact(label="Reach", value=_REACH.get(verdict.reach, verdict.reach), tone=tone)


def _raised(left: Left | None) -> Fact | None:
    """A cue that must be raised."""
    if left is None or not left.cueing.steep:
        return None
    by = left.cueing.by
    over = "the cushion" if by == "cushion" else ball_name(by or "")
    value = f"raised {left.cueing.elevation_deg:.0f}° over {over}"
    return Fact(label="Cue", value=value, tone="out")


def _chance(verdict: Verdict) -> Fact | None:
    if verdict.pot_chance is None:
        return None
    asides = [_into(verdict)]
    if verdict.pot_chance_given_up is not None:
        asides.append(given_up_words(verdict.pot_chance_given_up))
    if verdict.assumed:
        asides.append(assumed_words(verdict.assumed))
    return Fact(
        label="Chance from there",
        value=percent(verdict.pot_chance),
        aside="; ".join(aside for aside in asides if aside),
    )


def assumed_words(settings: Collection[str]) -> str:
    """``assumed, not measured on you: aim and reach``."""
    groups = (
        ("aim", CHANCE_SETTINGS),
        ("reach", REACH_SETTINGS),
        ("speed and line", ROUTE_SETTINGS),
    )
    named = [name for name, group in groups if any(each in settings for each in group)]
    return f"assumed, not measured on you: {joined(named)}"


def given_up_words(share: float) -> str:
    """``of 100 such pots 12 fewer than from the best place in the zone``."""
    points = round(100 * share)
    if not points:
        return "as good as from the best place in the zone"
    return f"of 100 such pots {points} fewer than from the best place in the zone"


def _into(verdict: Verdict) -> str:
    """What the chance is for, and a better pocket where there is one."""
    left = verdict.left
    if left is None:
        intent = verdict.intent
        into = "" if intent is None else target(intent.next, intent.next_pocket)
        return f"to pot {into}" if into else ""
    words = f"to pot {target(left.ball, left.pocket)}"
    best = max(left.chance_by_pocket, key=lambda name: left.chance_by_pocket[name], default=None)
    if best is None or left.chance_by_pocket[best] < left.pot_chance + BETTER_CHANCE:
        return words
    return f"{words}, {percent(left.chance_by_pocket[best])} in the {pocket_name(best)}"


def _lost(left: Left | None) -> Fact | None:
    """Pots that the stop gave away."""
    if left is None or not left.impossible:
        return None
    lost = "; ".join(str(pot) for pot in left.impossible)
    return Fact(label="Not on any more", value=lost, tone="out")


def _pot(verdict: Verdict) -> Fact | None:
    down = _down(verdict.potted)
    if verdict.pot_made is None:
        return Fact(label="Down", value=down) if down else None
    intent = verdict.intent
    assert intent is not None
    asides = [target(intent.pot, intent.pocket)]
    others = [ball for ball in verdict.potted if ball != intent.pot]
    if others:
        asides.append(f"{_down(others)} down too")
    return Fact(
        label="Pot",
        value="made" if verdict.pot_made else "missed",
        aside="; ".join(asides),
        tone="in" if verdict.pot_made else "out",
    )


def _down(balls: Sequence[str]) -> str:
    return joined(ball_name(ball) for ball in balls)
