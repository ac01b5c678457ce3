"""The turn of a practice: what is played next, and whether its layout lies there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

from calibration.errors import RestmarkError
from calibration.table import Table
from service.position import Intent, Player
from service.practice.ways.in_order import InOrder
from service.practice.ways.tried import Tried
from service.practice.ways.turn import Turn
from vision.layout import Layout

from .fitting import named_and_fitting, why_not
from .ways import PLAN, PracticeWay


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One attempt of the practice, as far as the next turn depends on it."""

    before_id: int
    """The reading of the layout that it was played from."""
    after_id: int
    """The reading of the layout that it left."""
    tried: Tried
    laid_id: int
    """The reading in which that layout lay first: the same as of an attempt from it before."""
    by_way: bool = True
    """Its intent was given by the way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """The table as it lies, and what is known of it."""

    layout: Layout
    newest_id: int
    """The reading of that layout."""
    table: Table
    player: Player | None = None
    laid_id: int | None = None
    """The reading in which the layout lay first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """What is next."""

    turn: Turn | None = None
    """None where the way is free, or at its end."""
    intent: Intent | None = None
    """The intent of the turn with its balls named; None where nothing can be pending yet."""
    wanted: Layout | None = None
    """The layout that must lie there."""
    wanted_id: int | None = None
    """The reading that it is of."""
    waits: str | None = None
    """Why it cannot be played from the table as it lies."""
    finished: bool = False
    """The way is at its end."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "turn": None if self.turn is None else self.turn.to_dict(),
            "waits": self.waits,
            "finished": self.finished,
            "set_up": None if self.wanted is None else self.wanted.to_dict(),
        }


def due(
    way: PracticeWay,
    played: Sequence[Played],
    lying: Lying,
    layout_of: Callable[[int], Layout],
    *,
    skipped: Iterable[int] = (),
) -> Due:
    """What is next in a practice, on the table as it lies; ``layout_of`` gives a reading's.

    ``skipped``: places of a plan that are not to be played.
    """
    if way.plan is None:
        return Due()
    counted = turns_taken(way, played)
    again = next((each for each in counted if each.laid_id == lying.laid_id), None)
    if way.kind == PLAN and again is not None:
        # a layout set up again is played with its own shot, and takes no other turn of the plan
        turn_again = Turn(intent=again.tried.intent, same_layout=True, place=again.tried.place)
        return _from(turn_again, lying)
    teller = way.way(lying.player, skipped)
    assert teller is not None
    turn = teller.next([each.tried for each in counted], lying.layout, lying.table)
    if turn is None:
        return Due(finished=way.kind != "rotation")
    if turn.intent is None:
        return Due(turn=turn)
    wanted_id = None
    if counted and turn.same_layout:
        wanted_id = counted[-1].before_id
    elif counted and turn.first_layout:
        wanted_id = counted[0].before_id
    moves_on = way.kind == "progressive" and bool(counted) and not turn.same_layout
    if moves_on and lying.newest_id <= counted[-1].after_id:
        return Due(turn=turn, waits="The balls have to be laid anew.")
    return _from(turn, lying, None if wanted_id is None else layout_of(wanted_id), wanted_id)


def turns_taken(way: PracticeWay, played: Sequence[Played]) -> list[Played]:
    """The attempts that took a turn; in a plan those that played one of its shots, and which.

    A person's own intent, and a layout's, take none.
    """
    return list(played) if way.kind != PLAN else _placed(played)


def place_next(
    way: PracticeWay, played: Sequence[Played], skipped: Iterable[int] = ()
) -> int | None:
    """Which of a plan's shots is next, from 1; None at its end, and for other ways."""
    teller = way.way(None, skipped)
    if not isinstance(teller, InOrder):
        return None
    return teller.place([each.tried for each in turns_taken(way, played)])


def _placed(played: Sequence[Played]) -> list[Played]:
    taken = {each.tried.place for each in played}
    known = [number for number, each in enumerate(played) if each.tried.place is not None]
    since = known[0] if known else len(played)
    free = (place for place in count(1) if place not in taken)
    out, laid = [], set()
    for number, each in enumerate(played):
        is_first = each.laid_id not in laid
        laid.add(each.laid_id)
        if each.tried.place is not None:
            out.append(each)
        elif number < since and is_first and each.by_way:
            # from before places were kept: their order tells
            out.append(replace(each, tried=replace(each.tried, place=next(free))))
    return out


def _from(
    turn: Turn, lying: Lying, wanted: Layout | None = None, wanted_id: int | None = None
) -> Due:
    assert turn.intent is not None
    waits = why_not(turn.intent, lying.layout, lying.table, lying.player, wanted=wanted)
    try:
        named = named_and_fitting(turn.intent, wanted or lying.layout, lying.table, lying.player)
    except RestmarkError:
        named = None
    return Due(turn=turn, intent=named, wanted=wanted, wanted_id=wanted_id, waits=waits)
