"""A session's statistics fact by fact: bias before spread, never a rate without its interval."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from service.practice.statistics.rates import CHANGE_POINTS, RATE_HALF_WIDTH

from .facts import Fact
from .landing import between, landing_facts
from .lengths import MILLIMETRES, Lengths, ball_widths
from .plain import counted, more, percent_between

if TYPE_CHECKING:
    from service.practice import Summary
    from service.practice.statistics.means import Share
    from service.practice.statistics.rates import Rate, Sets

_TILES = ("In the zone", "Pots made", "Average miss", "Average distance", "Longest run")


def summary_facts(summary: Summary, lengths: Lengths = MILLIMETRES) -> tuple[Fact, ...]:
    """Everything that the attempts say together."""
    found = [
        _counts(summary),
        _rate("In the zone", summary.zone, changes=True),
        _rate("Pots made", summary.pots),
        _average_miss(summary, lengths),
        *landing_facts(summary.landing, summary.around_wanted, summary.arrivals, lengths),
        _sets(summary.sets),
        Fact(
            label="Longest run",
            value=str(summary.longest_run),
            aside=f"pot made and in the zone, in a row; of pots alone {summary.longest_pot_run}",
        ),
        _given_up(summary.chance_given_up),
    ]
    return tuple(fact for fact in found if fact is not None)


def summary_lines(summary: Summary, lengths: Lengths = MILLIMETRES) -> list[str]:
    """The same, a line a fact."""
    return [fact.line for fact in summary_facts(summary, lengths)]


def tiles(found: tuple[Fact, ...]) -> tuple[Fact, ...]:
    """Those of a summary's facts that stand large at its head."""
    return tuple(fact for fact in found if fact.label in _TILES)


def way_line(report: Mapping[str, Any], lengths: Lengths = MILLIMETRES) -> str:
    """One sentence on how far a way to practise was carried; its mode says which figures it has."""
    mode = str(report["mode"])
    if mode == "progressive":
        best = report["farthest_success_mm"]
        done = "no success yet" if best is None else f"farthest success at {lengths.text(best)}"
        return f"Progressive: {lengths.text(report['reached_mm'])} reached, {done}."
    if mode == "pressure":
        return (
            f"Sets of {report['in_a_row']} in a row: {report['completions']} completed, longest "
            f"run {report['longest_run']}."
        )
    if mode == "rotation":
        return f"Rotation: {report['potted']} potted, {report['longest_run']} in a row."
    if "of" in report:
        return f"{mode.capitalize()}: {report['played']} of {report['of']} played."
    return f"{mode.capitalize()}: {report['played']} played."


def rate_interval(rate: Rate) -> str:
    """``28 to 78 %``; a word where nothing was counted."""
    if rate.low is None or rate.high is None:
        return "no attempts to count"
    return percent_between(rate.low, rate.high)


def _counts(summary: Summary) -> Fact:
    counts = (
        (summary.refused, "refused"),
        (summary.scratches, "scratched" if summary.scratches != 1 else "scratch"),
        (summary.too_close_to_call, "too close to call"),
        (summary.no_zone, "without any possible zone"),
    )
    aside = ", ".join(f"{count} {words}" for count, words in counts if count)
    return Fact(label="Attempts", value=str(summary.attempts), aside=aside)


def _rate(label: str, rate: Rate, *, changes: bool = False) -> Fact:
    if not rate.n:
        return Fact(label=label, value="0 of 0", aside=rate_interval(rate))
    asides = [f"95 % interval {rate_interval(rate)}"]
    if rate.attempts_missing:
        points = f"±{100 * RATE_HALF_WIDTH:.0f} points"
        asides.append(f"known to {points} after {more(rate.attempts_missing)}")
    if changes and rate.attempts_missing:
        asides.append(
            f"a change of {100 * CHANGE_POINTS:.0f} points shows after about "
            f"{rate.attempts_for_change} attempts before it and as many after"
        )
    return Fact(label=label, value=f"{rate.successes} of {rate.n}", aside="; ".join(asides))


def _average_miss(summary: Summary, lengths: Lengths) -> Fact | None:
    miss = summary.average_miss
    if miss.mean_mm is None:
        return None
    return Fact(
        label="Average miss",
        value=lengths.text(miss.mean_mm),
        aside=f"outside the zone, a stop inside counts as 0; {ball_widths(miss.mean_mm)}"
        f"{between(miss, lengths)}",
    )


def _sets(sets: Sets | None) -> Fact | None:
    if sets is None:
        return None
    return Fact(
        label=f"Sets of {sets.in_a_row} in a row",
        value=f"completed {counted(sets.completions, 'time')}",
        aside=f"in {counted(sets.attempts, 'attempt')}; not to be pooled with plain repeats",
    )


def _given_up(share: Share) -> Fact | None:
    if share.mean is None:
        return None
    aside = "from where the ball stopped rather than the best place in the zone"
    if share.low is not None and share.high is not None:
        aside += f"; 95 % interval {100 * share.low:.0f} to {100 * share.high:.0f}"
    return Fact(
        label="Pots given up",
        value=f"{100 * share.mean:.0f} of 100 next pots",
        aside=f"{aside}, by the spreads that are set or assumed",
    )
