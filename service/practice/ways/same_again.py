"""One layout again and again: what is played next where nothing else was asked."""

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
class SameAgain:
    """The same intent from the same layout, ``each`` times before the next; None: for ever."""

    shots: tuple[Intent | None, ...] = ()
    each: int | None = None

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn | None:
        """The intent of the attempt before, or the next one after so many; None at the end.

        Without a plan the last intent that was given is played again.
        """
        if self.each is None:
            given = self.shots[:1] or tuple(t.intent for t in tried[-1:])
            return Turn(intent=given[0], same_layout=bool(tried)) if given else None
        at = len(tried) // self.each
        if at >= len(self.shots):
            return None
        return Turn(intent=self.shots[at], same_layout=len(tried) % self.each > 0)

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """How often each was played."""
        if self.each is None:
            return {"played": len(tried)}
        return {"played": len(tried), "of": self.each * len(self.shots)}
