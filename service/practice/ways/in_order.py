"""The plan's intents one after another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.table import Table
from service.position import Intent
from vision.layout import Layout

from .tried import Tried
from .turn import Turn


@dataclass(frozen=True, slots=True, kw_only=True)
class InOrder:
    """Each attempt takes the next intent, whatever came of the one before.

    An attempt that no longer counts leaves its place free: that one is next.
    """

    shots: tuple[Intent | None, ...] = ()
    skipped: frozenset[int] = frozenset()
    """Places that are not to be played, from 1."""

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn | None:
        """The intent in turn; None at the plan's end."""
        place = self.place(tried)
        return None if place is None else Turn(intent=self.shots[place - 1], place=place)

    def place(self, tried: Sequence[Tried]) -> int | None:
        """The first place that nobody has played or skipped, from 1; None at the plan's end."""
        taken = {each.place for each in tried if each.place is not None}
        free = [
            place
            for place in range(1, len(self.shots) + 1)
            if place not in taken and place not in self.skipped
        ]
        unplaced = sum(each.place is None for each in tried)
        return free[unplaced] if unplaced < len(free) else None

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """How far the plan was played; a shot that was played again counts once."""
        placed = {each.place for each in tried if each.place is not None}
        played = len(placed) + sum(each.place is None for each in tried)
        return {
            "played": min(played, len(self.shots)),
            "of": len(self.shots),
            "skipped": len(self.skipped - placed),
        }
