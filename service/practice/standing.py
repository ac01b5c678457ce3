"""How a player stands by many attempts: the weak side first, then pots and position apart."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from .apart import Apart, apart_of
from .columns import Columns, joined, moment
from .statistics.outcomes import offsets_mm
from .statistics.plain import plain
from .statistics.progress import plain_of, sessions_of
from .statistics.summary import Summary, sum_up
from .statistics.weak_side import WeakSide, weak_side_within


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Figures of plain attempts; those of sets in a row are counted and left out."""

    attempts: int
    in_sets: int
    """Attempts that belonged to sets of a row."""
    sessions: int
    since: datetime | None
    """When the first of the plain attempts was played; None without any."""
    until: datetime | None
    weak_side: WeakSide
    """Speed against line, each session about its own average."""
    apart: Apart
    summary: Summary
    """With what is told apart by kind of shot."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object; times in ISO 8601."""
        return {name: plain(getattr(self, name)) for name in self.__dataclass_fields__}


def standing(shots: Columns, *, told_apart: bool = True) -> Standing:
    """What the attempts say of their player; ``told_apart`` by kind of shot too."""
    ordered = shots.take(np.argsort(shots.at, kind="stable"))
    sessions = [plain_of(session) for session in sessions_of(ordered)]
    sessions = [session for session in sessions if len(session)]
    counted = joined(sessions)
    n = len(counted)
    return Standing(
        attempts=n,
        in_sets=len(shots) - n,
        sessions=len(sessions),
        since=moment(counted.at[0]) if n else None,
        until=moment(counted.at[-1]) if n else None,
        weak_side=weak_side_within([offsets_mm(session) for session in sessions]),
        apart=apart_of(counted),
        summary=sum_up(counted, told_apart=told_apart),
    )
