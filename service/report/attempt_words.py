"""One attempt in the words of the trade: intent, headline and the facts behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calibration.table import Table
from service.position.verdict.judged import angle_off_deg, judged_angle, judged_side
from vision.layout import Layout

from .words import (
    ball_name,
    ball_widths,
    diamonds,
    error_mm,
    joined,
    left_or_right,
    long_or_short,
    percent,
    pocket_name,
)

if TYPE_CHECKING:
    from service.position import Intent, Verdict
    from service.position.verdict.leaving import Left


BETTER_CHANCE = 0.05
"""Another pocket is named where its chance is better by this much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One line about an attempt."""

    label: str
    value: str
    bad: bool = False
    """Whether it counts against the attempt."""


def intent_words(intent: Intent) -> str:
    """What was meant: ``pot 3 in the foot left, leave 4 for the side right …``."""
    parts = []
    if intent.pot is not None:
        into = f" in the {pocket_name(intent.pocket)}" if intent.pocket else ""
        parts.append(f"pot {intent.pot}{into}")
    if intent.next is not None:
        where = f"the {pocket_name(intent.next_pocket)}" if intent.next_pocket else "any pocket"
        parts.append(f"leave {intent.next} for {where}")
        low, high = intent.cut_deg
        if (low, high) != (0.0, 90.0):
            parts.append(f"cut {low:g} to {high:g}°")
        if intent.side != "either":
            parts.append(f"{intent.side} side")
        near, far = intent.distance_mm
        if math.isfinite(far):
            parts.append(f"{near:g} to {far:g} mm away")
        elif near:
            parts.append(f"{near:g} mm or more away")
        if intent.cushion_mm:
            parts.append(f"{intent.cushion_mm:g} mm off the cushions")
    if intent.zone is not None:
        parts.append("stop in the drawn zone")
    if intent.route_mm is not None:
        parts.append("by the drawn route")
    words = ", ".join(parts)
    return words[:1].upper() + words[1:]


def headline(verdict: Verdict) -> str:
    """The verdict as one phrase."""
    if verdict.scratch:
        return "Scratch: no position to judge"
    if verdict.verdict == "in":
        return "In the zone"
    if verdict.zone_empty:
        return "Out: no place satisfies this intent"
    if verdict.miss_mm is None or verdict.p_in is None:
        return (verdict.verdict or "no intent: only what happened is said").capitalize()
    size = f"{verdict.miss_mm:.0f} mm ({ball_widths(verdict.miss_mm)})"
    if verdict.verdict == "out":
        return f"Out by {size}"
    return f"Too close to call: {percent(verdict.p_in)} likely in"


def angle_asked(intent: Intent) -> tuple[float, float] | None:
    """The cut wanted in degrees; None where any would do."""
    return None if intent.cut_deg == (0.0, 90.0) else intent.cut_deg


def facts(
    table: Table, before: Layout | None, after: Layout | None, intent: Intent, verdict: Verdict
) -> list[Fact]:
    """Everything the verdict says, line by line, without what does not apply."""
    out: list[Fact] = []
    _add_pot(out, before, intent, verdict)
    if verdict.scratch:
        return out
    if verdict.miss_mm and verdict.along_mm is not None:
        line = {"video": "seen", "route": "planned"}.get(verdict.arrival_from or "", "by the cut:")
        out.append(
            Fact(
                label="Against the line",
                value=f"{long_or_short(verdict.along_mm)}, {left_or_right(verdict.across_mm)} "
                f"({line} arrival line)",
                bad=verdict.verdict == "out",
            )
        )
    widths = verdict.zone_widths_mm
    if widths is not None:
        out.append(
            Fact(label="Zone", value=f"{widths[0]:.0f} mm deep along the line, "
                 f"{widths[1]:.0f} mm wide across it")
        )  # fmt: skip
    _add_stop(out, table, after, verdict)
    _add_leave(out, intent, verdict)
    if verdict.pot_chance is not None:
        given = verdict.pot_chance_given_up
        tail = (
            "" if given is None else f"; {100 * given:.0f} points given up against the best leave"
        )
        out.append(
            Fact(
                label="Pot chance left",
                value=f"{percent(verdict.pot_chance)}{_into(verdict)}{tail}",
            )
        )
    return out


def _into(verdict: Verdict) -> str:
    """Which pocket the chance is for, and a better one where there is one."""
    left = verdict.left
    if left is None:
        return ""
    best = max(left.chance_by_pocket, key=lambda name: left.chance_by_pocket[name], default=None)
    words = f" in the {pocket_name(left.pocket)}"
    if best is None or left.chance_by_pocket[best] < left.pot_chance + BETTER_CHANCE:
        return words
    return f"{words} ({percent(left.chance_by_pocket[best])} in the {pocket_name(best)})"


def _add_pot(out: list[Fact], before: Layout | None, intent: Intent, verdict: Verdict) -> None:
    down = joined(ball_name(name) for name in verdict.potted)
    if intent.pot is not None:
        made = intent.pot in verdict.potted
        out.append(
            Fact(label="Pot", value=f"{'made' if made else 'missed'}"
                 + (f" ({down} down)" if down and verdict.potted != (intent.pot,) else ""),
                 bad=not made)
        )  # fmt: skip
    elif down:
        out.append(Fact(label="Down", value=down))


def _add_stop(out: list[Fact], table: Table, after: Layout | None, verdict: Verdict) -> None:
    if verdict.cue_stop_mm is None:
        return
    x, y = verdict.cue_stop_mm
    cue = after.ball("cue") if after is not None else None
    spread = f" ± {error_mm(cue):.1f} mm (95 %)" if cue is not None else ""
    out.append(
        Fact(
            label="Stop",
            value=f"{x:.1f}, {y:.1f} mm{spread}; {diamonds(table, (x, y))} diamonds",
        )
    )


def _add_leave(out: list[Fact], intent: Intent, verdict: Verdict) -> None:
    if verdict.cut_deg is not None:
        low, high = intent.cut_deg
        judged = judged_angle(verdict.cut_deg, angle_asked(intent))
        off = abs(angle_off_deg(verdict.cut_deg, intent.cut_deg) or 0.0)
        by = f" by {off:.1f}°" if off else ""
        wanted = f", wanted {low:g} to {high:g}°: {judged}{by}" if judged else ""
        out.append(
            Fact(label="Cut left", value=f"{verdict.cut_deg:.1f}°{wanted}",
                 bad=judged not in ("", "good angle"))
        )  # fmt: skip
    if verdict.side is not None:
        judged = judged_side(verdict.side, intent.side)
        value = verdict.side if verdict.side == "straight" else f"{verdict.side} of the line"
        tails = {"right side": ", as wanted", "wrong side": f": wrong side, {intent.side} wanted"}
        out.append(
            Fact(label="Side", value=value + tails.get(judged, ""),
                 bad=judged == "wrong side")
        )  # fmt: skip
    if verdict.path_to_pocket is not None:
        out.append(
            Fact(label="Path to the pocket", value=verdict.path_to_pocket,
                 bad=verdict.path_to_pocket == "blocked")
        )  # fmt: skip
    if verdict.hooked is not None:
        words = {"no": "no", "partly": "partly hooked", "yes": "hooked"}[verdict.hooked]
        if verdict.hooked == "partly" and verdict.left is not None:
            words += f", {percent(verdict.left.visible_share)} of the ball can be hit first"
        out.append(Fact(label="Hooked", value=words, bad=verdict.hooked == "yes"))
    if verdict.frozen:
        out.append(Fact(label="Cushion", value="frozen", bad=True))
    if verdict.reach is not None:
        words = {"hand": "by hand", "bridge": "mechanical bridge"}.get(verdict.reach, verdict.reach)
        out.append(Fact(label="Reach", value=words, bad=verdict.reach == "out of reach"))
    if verdict.left is not None:
        _add_left(out, verdict.left)


def _add_left(out: list[Fact], left: Left) -> None:
    """A cue that must be raised, and pots that the stop gave away."""
    cueing = left.cueing
    if cueing.steep:
        over = "the cushion" if cueing.by == "cushion" else ball_name(cueing.by or "")
        out.append(
            Fact(label="Cue", value=f"raised {cueing.elevation_deg:.0f}° over {over}", bad=True)
        )
    if left.impossible:
        lost = "; ".join(str(pot) for pot in left.impossible)
        out.append(Fact(label="Not on any more", value=lost, bad=True))
