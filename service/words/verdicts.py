"""The verdict as one phrase, and the line that stands under it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .lengths import LEFT_RIGHT, LONG_SHORT, MILLIMETRES, NO_SIDE_MM, Lengths, ball_widths
from .plain import capital, percent

if TYPE_CHECKING:
    from service.position import Verdict

TONES = {"in": "in", "out": "out", "too close to call": "close"}
"""Tone of colours by verdict; the words always stand beside them."""


_ARRIVALS = {
    "video": "arrival line as seen",
    "route": "planned arrival line",
    "cut": "arrival line by the cut",
}


def headline(verdict: Verdict, lengths: Lengths = MILLIMETRES) -> str:
    """The verdict in a few words: ``Out by 84 mm``, ``In the zone``, ``Scratch``."""
    if verdict.scratch:
        return "Scratch"
    if verdict.verdict == "in":
        return "In the zone"
    if verdict.zone_empty:
        return "Out: no zone here"
    if verdict.verdict == "out" and verdict.miss_mm is not None:
        return f"Out by {lengths.text(verdict.miss_mm)}"
    return capital(verdict.verdict or "not compared")


def arrival_words(verdict: Verdict | None) -> str:
    """What the arrival line is known from: ``planned arrival line``."""
    source = None if verdict is None else verdict.arrival_from
    return _ARRIVALS.get(source or "", "planned arrival line")


def subline(verdict: Verdict, lengths: Lengths = MILLIMETRES) -> str:
    """What goes with it at a glance: ``1.5 ball widths · 62 mm short · 57 mm left``."""
    if verdict.scratch:
        return "no position to judge"
    parts = []
    if verdict.verdict == "too close to call" and verdict.p_in is not None:
        parts.append(f"{percent(verdict.p_in)} likely in the zone")
    if verdict.miss_mm:
        parts.append(ball_widths(verdict.miss_mm))
        for value, ends in ((verdict.along_mm, LONG_SHORT), (verdict.across_mm, LEFT_RIGHT)):
            if value is not None and abs(value) >= NO_SIDE_MM:
                parts.append(lengths.sided(value, ends))
        if verdict.along_mm is None and verdict.miss_vector_mm is not None:
            parts.append(lengths.by_table(verdict.miss_vector_mm))
    if verdict.zone_empty:
        parts.append("no place satisfies this intent")
    if verdict.hooked in ("yes", "partly"):
        parts.append("hooked" if verdict.hooked == "yes" else "partly hooked")
    return " · ".join(parts)
