"""Ways to practise, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from service.practice.ways.pressure import Pressure
from service.practice.ways.progressive import Progressive
from service.practice.ways.same_again import SameAgain
from service.words.lengths import Lengths
from service.words.plain import counted

if TYPE_CHECKING:
    from service.practice.ways.choose import Way
    from service.practice.ways.tried import Tried

_WAYS = {
    "free": "free practice",
    "same again": "the same shot again and again",
    "plan": "a plan, shot by shot",
    "rotation": "rotation: the lowest ball is next",
    "progressive": "progressive: the distance follows you",
    "pressure": "under pressure: so many in a row",
}


def way_words(kind: str) -> str:
    """A way in words; its own name where it has none."""
    return _WAYS.get(kind, kind)


def way_score(way: Way | None, tried: Sequence[Tried], lengths: Lengths) -> str:
    """How far a way has come by its own score; empty where it keeps none."""
    if isinstance(way, Pressure):
        done = way.report(tried)["completions"]
        sets = f", {counted(done, 'set')} done" if done else ""
        return f"{way.run(tried)} of {way.in_a_row} in a row{sets}"
    if isinstance(way, Progressive):
        return f"Next distance {lengths.text(way.distances_mm(tried)[-1])}"
    if isinstance(way, SameAgain) and way.each is not None:
        return f"{len(tried)} of {way.each * len(way.shots)} played"
    return ""
