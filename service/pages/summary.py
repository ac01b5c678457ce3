"""What stored attempts add up to, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from . import words
from .words import Fact


def summary_facts(summary: Mapping[str, Any]) -> tuple[Fact, ...]:
    """The summary in words: no rate without its interval, no spread from too few attempts."""
    landing = summary["landing"]
    facts = [
        _rate("In the zone", summary["zone"]),
        _rate("Pots made", summary["pots"]),
        _average_miss(summary["average_miss"]),
        _landing_spot(landing),
        _within(landing),
        _weak_side(landing),
        Fact(label="Longest run", value=str(summary["longest_run"]), aside="pot and zone"),
        _given_up(summary["chance_given_up"]),
    ]
    for name, words_one in (
        ("too_close_to_call", "Too close to call"),
        ("no_zone", "No landing zone"),
        ("scratches", "Scratches"),
    ):
        if summary[name]:
            facts.append(Fact(label=words_one, value=str(summary[name])))
    return tuple(fact for fact in facts if fact is not None)


def _rate(label: str, rate: Mapping[str, Any]) -> Fact | None:
    if not rate["n"]:
        return None
    interval = f"95 %: {rate['low']:.0%} to {rate['high']:.0%}"
    missing = rate["attempts_missing"]
    more = f"; {missing} more before it can be claimed" if missing else ""
    return Fact(label=label, value=f"{rate['successes']} of {rate['n']}", aside=f"{interval}{more}")


def _average_miss(mean: Mapping[str, Any]) -> Fact | None:
    if mean["mean_mm"] is None:
        return None
    return Fact(
        label="Average miss",
        value=words.in_mm(mean["mean_mm"]),
        aside=f"{words.widths(mean['mean_mm'])}{_interval(mean, '; ')}",
    )


def _landing_spot(landing: Mapping[str, Any]) -> Fact | None:
    """The average landing spot against the wanted spot, with both its intervals."""
    sides = ((landing["long_short"], ("long", "short")), (landing["left_right"], ("left", "right")))
    if landing["long_short"]["mean_mm"] is None:
        return None
    spot = ", ".join(_signed(mean["mean_mm"], ends) for mean, ends in sides)
    intervals = [
        f"{_signed(mean['low_mm'], ends)} to {_signed(mean['high_mm'], ends)}"
        for mean, ends in sides
        if mean["low_mm"] is not None
    ]
    aside = "of the wanted spot" + (f"; 95 %: {', '.join(intervals)}" if intervals else "")
    return Fact(label="Average landing spot", value=spot, aside=aside)


def _signed(value_mm: float, ends: tuple[str, str]) -> str:
    return f"{words.in_mm(abs(value_mm))} {ends[0] if value_mm >= 0 else ends[1]}"


def _within(landing: Mapping[str, Any]) -> Fact | None:
    half, nine = landing["half_within_mm"], landing["nine_in_ten_within_mm"]
    if half is None or nine is None:
        return None
    return Fact(
        label="Half-within distance",
        value=words.in_mm(half),
        aside=f"of the average landing spot{_ends(landing['half_within'])}; nine in ten within "
        f"{words.in_mm(nine)}{_ends(landing['nine_in_ten_within'])}",
    )


def _ends(distance: Mapping[str, Any]) -> str:
    if distance["low_mm"] is None:
        return ""
    return f", 95 %: {distance['low_mm']:.0f} to {words.in_mm(distance['high_mm'])}"


def _weak_side(landing: Mapping[str, Any]) -> Fact | None:
    found = landing["weak_side"]
    if found["ratio"] is None:
        return None
    aside = f"spread along × {found['ratio']:.1f} of across"
    aside += f"; 95 %: {found['low']:.1f} to {found['high']:.1f}"
    if not found["side"] and found["attempts_missing"]:
        aside += f"; about {found['attempts_missing']} more attempts would show it"
    return Fact(label="Weak side", value=found["side"] or "cannot be said yet", aside=aside)


def _given_up(share: Mapping[str, Any]) -> Fact | None:
    if share["mean"] is None:
        return None
    aside = "" if share["low"] is None else f"95 %: {share['low']:.0%} to {share['high']:.0%}"
    return Fact(label="Pot chance given up", value=f"{share['mean']:.0%}", aside=aside)


def _interval(mean: Mapping[str, Any], lead: str) -> str:
    if mean["low_mm"] is None:
        return ""
    return f"{lead}95 %: {mean['low_mm']:.0f} to {words.in_mm(mean['high_mm'])}"
