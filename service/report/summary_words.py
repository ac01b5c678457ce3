"""A session's statistics in sentences: bias before spread, never a rate without its interval."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from .words import ball_widths, signed

if TYPE_CHECKING:
    from service.practice import Summary
    from service.practice.landing import Landing
    from service.practice.means import Mean
    from service.practice.rates import Rate


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
                note=f"of the average landing spot; nine in ten within "
                f"{landing.nine_in_ten_within_mm:.0f} mm",
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
    lines.append(
        f"Longest run {summary.longest_run} (pot made and in the zone); longest run of pots "
        f"{summary.longest_pot_run}."
    )
    if summary.pot_chance_given_up is not None:
        lines.append(
            f"Pot chance given up against the best leave: {100 * summary.pot_chance_given_up:.0f} "
            "points an attempt on average, under a stated aim spread."
        )
    missing = summary.zone.attempts_missing
    if missing:
        lines.append(
            f"{_more(missing)} before the rate in the zone can be claimed to within 15 points."
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
            f"Spread: {landing.speed.sigma_mm:.0f} mm along the line (speed), "
            f"{landing.line.sigma_mm:.0f} mm across it (line), one standard deviation, corrected "
            f"for {landing.n} attempts."
        )
    return lines


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
