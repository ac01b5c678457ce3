"""Whether a ball set is none of the known ones, told from the stills themselves.

A ball's name is the joint choice of a still; its look says by itself how likely that name is. In a
set of the known colourings both agree. In a set of other paints several balls want the same name,
or none, and some must take names that their looks give next to nothing. The rule adds up what that
costs: for each ball minus the logarithm of the chance that its look gives to its name.

What no look can show: a set in the usual paints on other numbers, where every ball finds a name.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from calibration.notices import Notice
from vision.layout import Ball, Layout

from .history import KEPT_CHANCE, UNMOVED_MM

UNLIKE_BELOW = 0.5
"""A ball whose look gives its name less is unlike every standard ball that is left for it."""
FEWEST = 2
"""So many balls must be: one may lie in the dark or show only its white side."""
LIMIT = 4.0
"""Cost of one still from which the set is called unusual."""
MOST_STILLS = 4
"""Stills looked at together, the newest: their mean cost is held against ``LIMIT`` over the root of
how many looks they are, since one look's accidents average out."""
CODE = "unusual-set"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unusual:
    """A set that seems to be none of the known ones."""

    unlike: tuple[str, ...]
    """Names of the balls that are unlike, in the newest still where most are."""
    cost: float
    """Mean cost a still."""
    stills: int

    @property
    def words(self) -> str:
        """One sentence, and what to do."""
        count = len(self.unlike)
        return (
            f"{_WORDS.get(count, str(count))} balls look like none of the standard colours left "
            "for them: teach this set from one still."
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "unlike": list(self.unlike),
            "cost": self.cost,
            "stills": self.stills,
            "detail": self.words,
        }


_WORDS = {2: "Two", 3: "Three", 4: "Four", 5: "Five", 6: "Six", 7: "Seven", 8: "Eight", 9: "Nine"}


def chance_of_name(ball: Ball) -> float | None:
    """What a ball's look gives to its name; None where a person gave it, or no look is kept."""
    if ball.said or not ball.look:
        return None
    return max(dict(ball.look).get(ball.id, 0.0), KEPT_CHANCE)


def cost_of(layout: Layout) -> float:
    """What a still's names cost, summed over its balls."""
    return sum(-math.log(chance) for _, chance in _looked_at(layout))


def unlike(layout: Layout) -> tuple[str, ...]:
    """Names of the balls that look like no standard ball left for them."""
    return tuple(name for name, chance in _looked_at(layout) if chance < UNLIKE_BELOW)


def unusual(layouts: Sequence[Layout]) -> Unusual | None:
    """Whether the newest of clear stills, oldest first, show an unusual set: by itself, or with
    those before it."""
    clear = [each for each in layouts if not each.obstructed and each.balls and not _is_grey(each)]
    for count in range(1, min(len(clear), MOST_STILLS) + 1):
        found = _together(clear[-count:])
        if found is not None:
            return found
    return None


def is_taught(layout: Layout, ids: Collection[str]) -> bool:
    """Whether most of a still's names are taught: then no more is asked for."""
    return 2 * sum(ball.id in ids for ball in layout.balls) > len(layout.balls)


def _together(clear: Sequence[Layout]) -> Unusual | None:
    most = max(reversed(clear), key=lambda each: len(unlike(each)))
    cost = sum(cost_of(each) for each in clear) / len(clear)
    if len(unlike(most)) < FEWEST or cost < LIMIT / math.sqrt(_looks(clear)):
        return None
    return Unusual(unlike=unlike(most), cost=cost, stills=len(clear))


def _looks(layouts: Sequence[Layout]) -> float:
    """How many looks some stills are: a ball that lies still shows the same one again."""
    return 1 + sum(
        sum(_has_moved(ball, before) for ball in now.balls) / len(now.balls)
        for before, now in pairwise(layouts)
    )


def _has_moved(ball: Ball, before: Layout) -> bool:
    return all(math.dist(ball.centre_mm, other.centre_mm) > UNMOVED_MM for other in before.balls)


def notice_of(found: Unusual, layout: Layout) -> Notice:
    """What is said beside a reading."""
    places = [list(ball.centre_mm) for ball in layout.balls if ball.id in found.unlike]
    fields = {"ids": list(found.unlike), "places_mm": places, "cost": found.cost}
    return Notice(code=CODE, text=found.words, fields=fields)


def _looked_at(layout: Layout) -> list[tuple[str, float]]:
    told = ((ball.id, chance_of_name(ball)) for ball in layout.balls)
    return [(name, chance) for name, chance in told if chance is not None]


def _is_grey(layout: Layout) -> bool:
    return any(notice.code == "no-colour" for notice in layout.notices)
