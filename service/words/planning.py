"""What is said before the shot: the landing zone, planned routes, and chances over the bed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from calibration.table import POCKET_NAMES, PointMm
from service.position.verdict.arrival import zone_widths_mm

from .balls import ball_name, pocket_name
from .facts import Fact, assumed_words
from .lengths import MILLIMETRES, Lengths, ball_widths
from .plain import NONE, percent, percent_or_none

if TYPE_CHECKING:
    from service.position import Intent, LandingZone
    from service.position.plan.chance_map import ChanceMap
    from service.position.plan.gaps import Gap
    from service.position.plan.route import RouteReport, Stretch

Line = tuple[PointMm, PointMm]
ALONG_TABLE: Line = ((0.0, 0.0), (1.0, 0.0))
"""A way along the table, where no arrival line is known."""
ROUTE_LABELS = (
    "way", "cushions", "tightest gap", "gaps", "hooked", "in the zone", "may run",
    "past every gap", "stops in the zone", "these chances",
)  # fmt: skip
"""Rows of the table that lays routes side by side, in the order of ``route_words``."""


# -- the landing zone ----------------------------------------------------------------------


def zone_facts(
    zone: LandingZone,
    line_mm: Line | None,
    lengths: Lengths = MILLIMETRES,
) -> tuple[Fact, ...]:
    """The zone before the shot; ``line_mm`` is the arrival line where a route plans it."""
    if zone.is_empty:
        why = zone.emptied_why or ""
        return (Fact(label="Landing zone", value="none", aside=why, tone="out"),)
    pieces = len(zone.polygons_mm)
    of_bed = zone.area_mm2 / (lengths.surface_mm[0] * lengths.surface_mm[1])
    facts = [
        Fact(
            label="Landing zone",
            value=lengths.area(zone.area_mm2),
            aside=f"{100 * of_bed:.1f} % of the bed" + (f", {pieces} parts" if pieces > 1 else ""),
        )
    ]
    if zone.wanted_mm is not None and zone.wanted_margin_mm is not None:
        room = f"most room: {lengths.text(zone.wanted_margin_mm)} to the nearest edge"
        facts.append(
            Fact(
                label="Wanted spot",
                value=lengths.place(zone.wanted_mm),
                aside="; ".join(filter(None, (lengths.beside(zone.wanted_mm), room))),
            )
        )
    if zone.wanted_mm is not None:
        deep, wide = map(lengths.text, zone_widths_mm(zone, line_mm or ALONG_TABLE))
        planned = "along and across the planned arrival line, through the wanted spot"
        tabled = "through the wanted spot; no route plans an arrival line"
        facts.append(
            Fact(label="Depth and width", value=f"{deep} deep, {wide} wide", aside=planned)
            if line_mm is not None
            else Fact(label="Size", value=f"{deep} along the table, {wide} across", aside=tabled)
        )
    return (*facts, *(_part(part, lengths) for part in zone.parts))


def _part(part: LandingZone, lengths: Lengths) -> Fact:
    """The zone of one pocket, where the intent leaves the pocket open."""
    return Fact(label=f"For the {pocket_name(part.pocket)}", value=lengths.area(part.area_mm2))


# -- routes --------------------------------------------------------------------------------


def route_words(report: RouteReport, lengths: Lengths = MILLIMETRES) -> tuple[str, ...]:
    """One route, a text a label of ``ROUTE_LABELS``."""
    return (
        lengths.text(report.way_mm),
        ", ".join(report.rails) or "none",
        _tightest_words(report.tightest, lengths),
        "\n".join(_gap_words(gap, lengths) for gap in report.gaps) or "none",
        _stretch_words(report.hooked, lengths) or "nowhere",
        _zone_words(report, lengths),
        _slack_words(report, lengths),
        percent(report.chance_through),
        percent_or_none(report.chance),
        assumed_words(report.assumed) if report.assumed else "by your own spreads",
    )


def _gap_words(gap: Gap, lengths: Lengths) -> str:
    sides = ", ".join(
        f"{name if name == 'cushion' else ball_name(name)} {lengths.text(room)} {side}"
        for side, name, room in (
            ("left", gap.left, gap.left_mm), ("right", gap.right, gap.right_mm),
        )
    )  # fmt: skip
    state = "" if gap.state == "open" else f" [{gap.state}]"
    return f"after {lengths.text(gap.at_mm)}: {sides}{state}"


def _tightest_words(gap: Gap | None, lengths: Lengths) -> str:
    if gap is None:
        return "none"
    return f"{lengths.text(gap.room_mm)} ({ball_widths(gap.room_mm)}) at {gap.nearest}"


def _stretch_words(stretches: Sequence[Stretch], lengths: Lengths) -> str:
    return "\n".join(
        f"{lengths.between(each.from_mm, each.to_mm)} ({each.word})" for each in stretches
    )


def _zone_words(report: RouteReport, lengths: Lengths) -> str:
    if report.zone.is_empty:
        return "no zone"
    ends = "" if report.ends_in_zone else ", ends outside"
    return f"{lengths.text(report.in_zone_mm)} of it{ends}"


def _slack_words(report: RouteReport, lengths: Lengths) -> str:
    if report.short_mm is None or report.long_mm is None:
        return NONE
    return f"{lengths.text(report.short_mm)} short to {lengths.text(report.long_mm)} long"


# -- chances over the bed ------------------------------------------------------------------


def chances_lines(chart: ChanceMap, now: float | None, lengths: Lengths = MILLIMETRES) -> list[str]:
    """The map of a ball's chances in a few lines; ``now`` is the chance from the cue ball."""
    best = chart.best
    lines = [] if now is None else [f"from where the cue ball lies: {percent(now)}"]
    if best is None or best[1] == 0:
        return [*lines, f"no place gives {ball_name(chart.ball)} a way into a pocket"]
    place, chance = best
    lines.append(f"best place: {percent(chance)} from {lengths.place(place)}")
    for number, name in enumerate(POCKET_NAMES):
        share = float((chart.pocket == number).mean())
        if share:
            lines.append(f"{pocket_name(name)}: the best pocket from {percent(share)} of the bed")
    if chart.assumed:
        lines.append(assumed_words(chart.assumed))
    return lines


def zone_json(zone: LandingZone, intent: Intent, line_mm: Line | None) -> dict[str, Any]:
    """The zone as ``zone --json`` prints it, in mm; widths run through the wanted spot."""
    sizes: list[tuple[float | None, float | None]] = [
        (None, None) if line is None or zone.wanted_mm is None else zone_widths_mm(zone, line)
        for line in (line_mm, ALONG_TABLE)
    ]
    (deep, wide), (along, across) = sizes
    return {
        "intent": intent.to_dict(),
        **zone.to_dict(),
        "area_mm2": zone.area_mm2,
        "depth_mm": deep,
        "width_mm": wide,
        "along_table_mm": along,
        "across_table_mm": across,
    }
