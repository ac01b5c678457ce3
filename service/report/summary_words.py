"""A session's statistics in sentences: bias before spread, never a rate without its interval."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from .words import ball_widths, signed

if TYPE_CHECKING:
    from service.practice import Summary
    from service.practice.statistics.landing import Landing
    from service.practice.statistics.means import Mean, Share, Spread
    from service.practice.statistics.rates import Rate, Sets
    from service.practice.statistics.weak_side import WeakSide
    from service.practice.statistics.within import Distance


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One large figure with what belongs beside it."""

    label: str
    value: str
    note: str


def rate_interval(rate: Rate) -> str:
    """``95 % interval 28 to 78 %``."""
    if rate.low is None or rate.high is None:
        return "no attempts to count"
    return f"95 % interval {100 * rate.low:.0f} to {100 * rate.high:.0f} %"


def p_words(p_value: float) -> str:
    """``p = 0.031``; very small ones as a bound."""
    return "p < 0.001" if p_value < 0.001 else f"p = {p_value:.2g}"


def tiles(summary: Summary) -> list[Tile]:
    """The figures that stand at the head of a report."""
    miss, landing = summary.average_miss, summary.landing
    out = [
        Tile(
            label="In the zone",
            value=f"{summary.zone.successes} of {summary.zone.n}",
            note=rate_interval(summary.zone),
        ),
        Tile(
            label="Pots made",
            value=f"{summary.pots.successes} of {summary.pots.n}",
            note=rate_interval(summary.pots),
        ),
    ]
    if miss.mean_mm is not None:
        out.append(
            Tile(
                label="Average miss",
                value=f"{miss.mean_mm:.0f} mm",
                note=f"{ball_widths(miss.mean_mm)}{_between(miss)}",
            )
        )
    if landing.half_within_mm is not None and landing.nine_in_ten_within_mm is not None:
        out.append(
            Tile(
                label="Half within",
                value=f"{landing.half_within_mm:.0f} mm",
                note=f"of the average landing spot{_distance_between(landing.half_within)}; "
                f"nine in ten within {landing.nine_in_ten_within_mm:.0f} mm",
            )
        )
    out.append(
        Tile(
            label="Longest run",
            value=str(summary.longest_run),
            note="pot made and in the zone, in a row",
        )
    )
    return out


def summary_lines(summary: Summary) -> list[str]:
    """The summary as sentences."""
    lines = [_counts(summary)]
    lines.append(
        f"In the zone {summary.zone.successes} of {summary.zone.n} "
        f"({rate_interval(summary.zone)}); pots made {summary.pots.successes} of "
        f"{summary.pots.n} ({rate_interval(summary.pots)})."
    )
    miss = summary.average_miss
    if miss.mean_mm is not None:
        lines.append(
            f"Average miss {miss.mean_mm:.0f} mm, {ball_widths(miss.mean_mm)}{_between(miss)}; "
            f"attempts in the zone count as 0."
        )
    lines += bias_lines(summary.landing)
    lines += within_lines(summary.landing)
    if summary.landing.n:
        lines.append(weak_side_line(summary.landing.weak_side, "Speed against line"))
    if summary.sets is not None:
        lines.append(_sets_words(summary.sets))
    lines.append(
        f"Longest run {summary.longest_run} (pot made and in the zone); longest run of pots "
        f"{summary.longest_pot_run}."
    )
    if summary.pot_chance_given_up is not None:
        lines.append(
            f"Pot chance given up against the best leave: {100 * summary.pot_chance_given_up:.0f} "
            f"points an attempt on average{_points_between(summary.chance_given_up)}, under a "
            "stated aim spread."
        )
    missing = summary.zone.attempts_missing
    if missing:
        lines.append(
            f"{_more(missing)} before the rate in the zone can be claimed to within 15 points; a "
            f"change of 20 points takes about {summary.zone.attempts_for_change} attempts before "
            "and after it to show."
        )
    return lines


def bias_lines(landing: Landing) -> list[str]:
    """Bias and spread of landing spots against the wanted spots."""
    long_short, left_right = landing.long_short, landing.left_right
    if long_short.mean_mm is None or left_right.mean_mm is None:
        return []
    length = "long" if long_short.mean_mm >= 0 else "short"
    hand = "left" if left_right.mean_mm >= 0 else "right"
    lines = [
        f"Average landing spot against the wanted spot: {abs(long_short.mean_mm):.0f} mm {length}"
        f"{_signed_between(long_short)}, {abs(left_right.mean_mm):.0f} mm {hand} of the line"
        f"{_signed_between(left_right)}; n = {landing.n}. {_bias_claim(landing)}"
    ]
    if landing.speed.sigma_mm is not None and landing.line.sigma_mm is not None:
        lines.append(
            f"Spread: {landing.speed.sigma_mm:.0f} mm along the line (speed)"
            f"{_distance_between(landing.speed)}, {landing.line.sigma_mm:.0f} mm across it (line)"
            f"{_distance_between(landing.line)}, one standard deviation, corrected for "
            f"{landing.n} attempts."
        )
    return lines


def within_lines(landing: Landing) -> list[str]:
    """Distances about the average landing spot, and about the wanted one."""
    half, nine = landing.half_within, landing.nine_in_ten_within
    if half.distance_mm is None or nine.distance_mm is None:
        return []
    lines = [
        f"Half within {half.distance_mm:.0f} mm of the average landing spot"
        f"{_distance_between(half)}, nine in ten within {nine.distance_mm:.0f} mm"
        f"{_distance_between(nine)}."
    ]
    ellipse = landing.spread_ellipse
    if landing.round is False and ellipse is not None:
        lines.append(
            f"The scatter is not round: {ellipse.major_mm:.0f} by {ellipse.minor_mm:.0f} mm, one "
            f"standard deviation each way, its long axis {abs(ellipse.turn_deg):.0f}° off the "
            "arrival line."
        )
    wanted = landing.half_within_of_wanted
    if wanted.distance_mm is not None:
        lines.append(
            f"Half within {wanted.distance_mm:.0f} mm of the wanted spot{_distance_between(wanted)}"
            ", bias included."
        )
    return lines


def weak_side_line(found: WeakSide, lead: str) -> str:
    """Which of speed and line is the weak side, or that it cannot be said."""
    if found.ratio is None or found.low is None or found.high is None:
        return f"{lead}: not enough attempts."
    text = (
        f"{lead}: spread along the line {found.ratio:.1f} times that across it (95 % interval "
        f"{found.low:.1f} to {found.high:.1f})"
    )
    if found.side is not None:
        return f"{text}; {found.side} is the weak side."
    missing = found.attempts_missing
    tail = f": about {_more(missing)} like these would show it" if missing else ""
    return f"{text}; which is the weak side cannot be said{tail}."


def _sets_words(found: Sets) -> str:
    times = f"{found.completions} time{'' if found.completions == 1 else 's'}"
    return (
        f"Sets of {found.in_a_row} in a row, completed {times} in {found.attempts} attempts; not "
        "to be pooled with plain repeats."
    )


def _distance_between(found: Distance | Spread) -> str:
    if found.low_mm is None or found.high_mm is None:
        return ""
    return f" (95 % interval {found.low_mm:.0f} to {found.high_mm:.0f} mm)"


def _points_between(found: Share) -> str:
    if found.low is None or found.high is None:
        return ""
    return f" (95 % interval {100 * found.low:.0f} to {100 * found.high:.0f})"


def _counts(summary: Summary) -> str:
    parts = [f"{summary.attempts} attempt{'' if summary.attempts == 1 else 's'}"]
    for count, words in (
        (summary.refused, "refused"),
        (summary.scratches, "scratched" if summary.scratches != 1 else "scratch"),
        (summary.too_close_to_call, "too close to call"),
        (summary.no_zone, "without any possible zone"),
    ):
        if count:
            parts.append(f"{count} {words}")
    return ", ".join(parts) + "."


def _more(count: int) -> str:
    return f"{count} more attempt{'' if count == 1 else 's'}"


def _between(mean: Mean) -> str:
    if mean.low_mm is None or mean.high_mm is None:
        return ""
    return f", 95 % interval {mean.low_mm:.0f} to {mean.high_mm:.0f} mm"


def _signed_between(mean: Mean) -> str:
    if mean.low_mm is None or mean.high_mm is None:
        return ""
    return f" (95 % interval {signed(mean.low_mm)} to {signed(mean.high_mm)})"


def _bias_claim(landing: Landing) -> str:
    if landing.bias_p_value is None:
        return "Too few attempts to speak of a bias."
    if landing.bias_p_value < 0.05:
        return f"That is a bias (p = {landing.bias_p_value:.2g})."
    missing = landing.bias_attempts_missing
    tail = f"; about {_more(missing)} like these would show one" if missing else ""
    return f"No bias can be claimed (p = {landing.bias_p_value:.2f}){tail}."
