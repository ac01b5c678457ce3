"""The live stills of one table as a chain: what lies there, and what was laid and played before."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from calibration.table import Table
from service.position import Intent
from service.position.errors import AttemptError
from service.practice import Outcome, Seen, Telling
from service.practice.between.compare import Change, compare
from service.practice.between.outcome import Repeat
from service.practice.between.repeats import repeat_of
from vision.layout import Layout

REMEMBERED = 60
"""Layouts that may be set up again; older ones are forgotten."""
_LABEL = "reading "


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """One live reading of the chain as it is stored."""

    reading_id: int
    layout: Layout
    event: str | None = None
    """What led to it; None for the first, and for stills that are compared with nothing."""
    repeats_id: int | None = None
    """The reading in which the layout lay first that was set up again."""
    played: Mapping[str, Any] | None = None
    """The intent of the shot that was played from it."""

    @property
    def comparable(self) -> bool:
        """A clear table at rest."""
        return self.layout.settled and not self.layout.obstructed


@dataclass(slots=True, kw_only=True)
class Chain:
    """What is known of a table's live stills; made anew from links after a change."""

    table: Table
    set_up: Repeat | None = None
    """The earlier layout that lies there again, and how far each ball is off."""
    played: dict[int, Mapping[str, Any]] = field(default_factory=dict)
    """The intent last played from a layout, by the reading in which it lay first."""
    _telling: Telling | None = None
    _rolled: bool = False
    _arm: bool = False

    @classmethod
    def of(cls, table: Table, links: Iterable[Link]) -> Chain:
        """The chain of stored links, oldest first."""
        chain = cls(table=table)
        for link in links:
            chain.recall(link)
        return chain

    @property
    def newest(self) -> Layout | None:
        """The layout that lies there, its names carried over; None before the first."""
        return None if self._telling is None else self._telling.newest

    @property
    def newest_id(self) -> int | None:
        """The reading of the layout that lies there: the still before."""
        return None if self.newest is None else reading_of(self.newest)

    @property
    def own_id(self) -> int | None:
        """The reading in which the layout that lies there lay first."""
        return self.newest_id if self.set_up is None else reading_of(self.set_up.layout)

    @property
    def own_intent(self) -> Mapping[str, Any] | None:
        """The intent that was played from this layout before."""
        return None if self.own_id is None else self.played.get(self.own_id)

    def seen_between(self) -> Seen | None:
        """What stills between, that are compared with nothing, say of what happened."""
        if not (self._rolled or self._arm):
            return None
        return Seen(rolled=self._rolled or None, hand_over_bed=self._arm or None)

    # -- going on --------------------------------------------------------------------------

    def look(
        self,
        layout: Layout,
        *,
        intent: Intent | None = None,
        seen: Seen | None = None,
        said: str | None = None,
        again_id: int | None = None,
    ) -> Outcome | None:
        """What leads to a layout that is not taken yet; None where it is the first.

        ``said``: the outcome's name where a person told it; ``again_id``: the reading of the
        layout that they say was set up again, None: the nearest.

        Raises:
            AttemptError: it cannot be what was said.
        """
        if self._telling is None:
            return None
        again = None if again_id is None else self._known(again_id)
        facts = seen or self.seen_between()
        return self._telling.look(layout, intent=intent, seen=facts, said=said, again=again)

    @property
    def known(self) -> list[Layout]:
        """Layouts that may be set up again: the newest, and those before it."""
        if self._telling is None:
            return []
        return [self._telling.newest, *(each.layout for each in self._telling.earlier)]

    def _known(self, reading_id: int) -> Layout:
        for each in self.known:
            if reading_of(each) == reading_id:
                return each
        readings = ", ".join(str(reading_of(each)) for each in self.known)
        raise AttemptError(
            f"repeats_reading_id: got {reading_id}, in which no layout lay first; allowed: one of "
            f"{readings}. Name one, or none for the nearest.",
            code="bad-outcome",
        )

    def repeat(self, layout: Layout, reading_id: int | None) -> Repeat | None:
        """How a layout repeats the one of that reading, however far off its balls lie."""
        assert self._telling is not None
        if reading_id is None:
            return None
        earlier = next((each for each in self.known if reading_of(each) == reading_id), None)
        return None if earlier is None else repeat_of(layout, earlier, within_mm=math.inf)

    def take(self, reading_id: int, layout: Layout, found: Outcome | None = None) -> None:
        """The reading is kept: go on to it. ``found`` is None for the first."""
        if found is None or self._telling is None:
            self._begin(reading_id, layout)
        else:
            change = replace(found.change, after=_labelled(found.change.after, reading_id))
            self._go_on(found.event, change, found.repeats)

    def pass_by(self, layout: Layout) -> None:
        """A still that is compared with nothing: balls that rolled, an arm over the bed."""
        self._arm = self._arm or layout.obstructed
        self._rolled = self._rolled or not (layout.settled or layout.obstructed)

    def was_played(self, intent: Mapping[str, Any]) -> None:
        """A shot with that intent was played from the layout that lies there."""
        if self.own_id is not None:
            self.played[self.own_id] = intent

    # -- from what is stored ---------------------------------------------------------------

    def recall(self, link: Link) -> None:
        """Go on to a stored link, as it was understood or said."""
        if not link.comparable:
            self.pass_by(link.layout)
            return
        if self._telling is None or link.event is None:
            self._begin(link.reading_id, link.layout)
        else:
            change = compare(self._telling.newest, _labelled(link.layout, link.reading_id))
            self._go_on(link.event, change, self.repeat(change.after, link.repeats_id))
        if link.played is not None:
            self.was_played(link.played)

    # -- steps -----------------------------------------------------------------------------

    def _begin(self, reading_id: int, layout: Layout) -> None:
        self._rolled = self._arm = False
        self.set_up = None
        self._telling = Telling(table=self.table, newest=_labelled(layout, reading_id))

    def _go_on(self, event: str, change: Change, repeat: Repeat | None) -> None:
        assert self._telling is not None
        self._rolled = self._arm = False
        self._telling.take(event, change)
        if event == "nothing":
            return
        del self._telling.earlier[:-REMEMBERED]
        if event in ("shot", "impossible"):
            self.set_up = None
        elif repeat is not None:
            self.set_up = repeat
        elif self.set_up is not None:
            # touched up: it lies there again as long as it is near enough
            self.set_up = repeat_of(change.after, self.set_up.layout)


def reading_of(layout: Layout) -> int:
    """The number of the reading that a chain's layout came with."""
    return int(layout.still.removeprefix(_LABEL))


def _labelled(layout: Layout, reading_id: int) -> Layout:
    """Names of stills come twice: in a chain a layout goes by its reading."""
    return replace(layout, still=f"{_LABEL}{reading_id}")
