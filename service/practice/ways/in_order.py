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
    """Each attempt takes the next intent, whatever came of the one before."""

    shots: tuple[Intent | None, ...] = ()

    def next(
        self, tried: Sequence[Tried], layout: Layout | None = None, table: Table | None = None
    ) -> Turn | None:
        """The intent in turn; None at the plan's end."""
        if len(tried) >= len(self.shots):
            return None
        return Turn(intent=self.shots[len(tried)])

    def report(self, tried: Sequence[Tried]) -> dict[str, Any]:
        """How far the plan was played."""
        return {"played": min(len(tried), len(self.shots)), "of": len(self.shots)}
