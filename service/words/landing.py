"""Where stops lie against the wanted spots: how far, on which side, and how scattered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from service.practice.statistics.means import SPREAD_LEAST

from .facts import Fact
from .lengths import LEFT_RIGHT, LONG_SHORT, Lengths
from .plain import more, p_words

if TYPE_CHECKING:
    from service.practice.statistics.around import AroundWanted, Arrivals
    from service.practice.statistics.landing import Landing
    from service.practice.statistics.means import Mean, Spread
    from service.practice.statistics.weak_side import WeakSide
    from service.practice.statistics.within import Distance

SIDES = {"speed": "speed, long or short", "line": "line, left or right"}
"""The two sides of a player's control, each with what it looks like on the table."""


def landing_facts(
    landing: Landing, around: AroundWanted, arrivals: Arrivals, lengths: Lengths
) -> tuple[Fact, ...]:
    """Distance, bias and spread of the stops against the wanted spots; bias before spread.

    ``landing`` rests on the stops whose arrival line is known, ``around`` on all of them.
    """
    found = [
        _all_stops(around, lengths),
        _arrivals(arrivals),
        _average_stop(landing, lengths),
        _scatter(landing, lengths),
        _half(landing, lengths),
        _shape(landing, lengths),
    ]
    out = [fact for fact in found if fact is not None]
    return (*out, weak_side_fact(landing.weak_side)) if landing.n else tuple(out)


def _all_stops(around: AroundWanted, lengths: Lengths) -> Fact | None:
    """Every stop about the wanted spot, in the zone or not: a wide zone does not flatter it."""
    mean, half = around.average, around.half_within
    if mean.mean_mm is None:
        return None
    aside = f"from the wanted spot, every stop counted, in the zone or not{between(mean, lengths)}"
    if half.distance_mm is not None:
        aside += f"; half within {lengths.text(half.distance_mm)}{between(half, lengths)}"
    return Fact(label="Average distance", value=lengths.text(mean.mean_mm), aside=aside)


def _arrivals(found: Arrivals) -> Fact | None:
    """Of how many stops long and short, left and right are known."""
    counts = ((found.video, "as seen"), (found.route, "as planned"), (found.cut, "by the cut"))
    known = sum(count for count, _ in counts)
    if not known + found.unknown:
        return None
    how = ", ".join(f"{count} {words}" for count, words in counts if count)
    rest = "long and short, left and right are told of these alone" if found.unknown else ""
    return Fact(
        label="Arrival line known",
        value=f"{known} of {known + found.unknown}",
        aside="; ".join(filter(None, (how, rest))),
    )


def _average_stop(landing: Landing, lengths: Lengths) -> Fact | None:
    along, across = landing.long_short, landing.left_right
    if along.mean_mm is None or across.mean_mm is None or landing.n < SPREAD_LEAST:
        return None
    ends = [
        text
        for mean, ends in ((along, LONG_SHORT), (across, LEFT_RIGHT))
        if (text := sided_between(mean, ends, lengths))
    ]
    interval = f"95 % interval {', '.join(ends)}; " if ends else ""
    return Fact(
        label="Average stop",
        value=lengths.off(along.mean_mm, across.mean_mm),
        aside=f"of the wanted spot; {interval}n = {landing.n}; {_bias_claim(landing)}",
    )


def sided_between(mean: Mean, ends: tuple[str, str], lengths: Lengths) -> str:
    """``12 mm long to 30 mm short``; empty where n allows no interval."""
    if mean.low_mm is None or mean.high_mm is None:
        return ""
    return f"{lengths.sided(mean.low_mm, ends)} to {lengths.sided(mean.high_mm, ends)}"


def _bias_claim(landing: Landing) -> str:
    p_value = landing.bias_p_value
    if p_value is None:
        return "too few attempts to speak of a lasting side (bias)"
    if p_value < 0.05:
        return f"not by chance: that is a bias ({p_words(p_value)})"
    missing = landing.bias_attempts_missing
    tail = f"; about {more(missing)} like these would show one" if missing else ""
    return f"may be chance: no bias can be claimed ({p_words(p_value)}){tail}"


def _scatter(landing: Landing, lengths: Lengths) -> Fact | None:
    speed, line = landing.speed, landing.line
    if speed.sigma_mm is None or line.sigma_mm is None:
        return None
    return Fact(
        label="Spread",
        value=f"{lengths.text(speed.sigma_mm)} long or short, "
        f"{lengths.text(line.sigma_mm)} left or right",
        aside="speed and line: about the average stop, one standard deviation"
        f"{_both(speed, line, lengths)}",
    )


def _both(speed: Spread, line: Spread, lengths: Lengths) -> str:
    if None in (speed.low_mm, speed.high_mm, line.low_mm, line.high_mm):
        return ""
    assert speed.low_mm is not None
    assert speed.high_mm is not None
    assert line.low_mm is not None
    assert line.high_mm is not None
    return (
        f"; 95 % interval {lengths.between(speed.low_mm, speed.high_mm)} and "
        f"{lengths.between(line.low_mm, line.high_mm)}"
    )


def _half(landing: Landing, lengths: Lengths) -> Fact | None:
    half, nine = landing.half_within, landing.nine_in_ten_within
    if half.distance_mm is None or nine.distance_mm is None:
        return None
    return Fact(
        label="Half of the stops within",
        value=lengths.text(half.distance_mm),
        aside=f"of the average stop, half-within distance{between(half, lengths)}; nine in ten "
        f"within {lengths.text(nine.distance_mm)}{between(nine, lengths)}",
    )


def _shape(landing: Landing, lengths: Lengths) -> Fact | None:
    ellipse = landing.spread_ellipse
    if landing.round is not False or ellipse is None:
        return None
    return Fact(
        label="Shape of the scatter",
        value=f"{lengths.number(ellipse.major_mm)} by {lengths.text(ellipse.minor_mm)}",
        aside=f"not round; one standard deviation each way, its long axis "
        f"{abs(ellipse.turn_deg):.0f}° off the arrival line",
    )


def weak_side_fact(found: WeakSide, label: str = "Weak side") -> Fact:
    """Which of speed and line is the weak side, or that it cannot be said."""
    if found.ratio is None or found.low is None or found.high is None:
        return Fact(label=label, value="not enough attempts to say")
    aside = (
        f"stops scatter {found.ratio:.1f} times as far long or short as left or right, 95 % "
        f"interval {found.low:.1f} to {found.high:.1f}"
    )
    if found.side is not None:
        return Fact(label=label, value=SIDES[found.side], aside=aside)
    if found.attempts_missing:
        aside += f"; about {more(found.attempts_missing)} like these would show it"
    return Fact(label=label, value="cannot be said yet", aside=aside)


def between(found: Distance | Mean | Spread, lengths: Lengths) -> str:
    """``, 95 % interval 28 to 78 mm``; empty where n allows none."""
    if found.low_mm is None or found.high_mm is None:
        return ""
    return f", 95 % interval {lengths.between(found.low_mm, found.high_mm)}"
