"""What reading an archive again would cost, before anything is done."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass
from itertools import islice
from typing import Any

from service.store import Store

from .keeping import Kept
from .stills import check
from .values import Group
from .wanted import Plan, Target, plan
from .work import read_batch

_TRIED = 3
"""Stills read here and not kept, to tell the time; one before them makes the maps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Counts, and the work that they stand for."""

    groups: dict[Group, int]
    """Stills to be read, by table, calibration and set."""
    read_before: int
    refused: Counter[str]
    size_bytes: int
    """Of the stills that would be fetched."""
    still_s: float | None
    """Time of one still on one core of this machine, measured now; None: none could be read."""

    @property
    def stills(self) -> int:
        """How many would be read."""
        return sum(self.groups.values())

    @property
    def core_hours(self) -> float | None:
        """Work on cores like this machine's."""
        return None if self.still_s is None else self.stills * self.still_s / 3600

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "stills": self.stills,
            "groups": [
                {
                    "table": group.table_id, "calibration": group.calibration_id,
                    "set": group.set_id, "cameras": dict(group.cameras), "stills": count,
                }
                for group, count in self.groups.items()
            ],
            "read_before": self.read_before,
            "refused_before": dict(self.refused),
            "size_bytes": self.size_bytes,
            "still_ms": None if self.still_s is None else round(self.still_s * 1000, 1),
            "core_hours": self.core_hours,
        }  # fmt: skip


def estimate(store: Store, target: Target, *, stills: str | None = None) -> Estimate:
    """What is missing, and how long a few of those stills take here; nothing is kept."""
    if stills is not None:
        check(stills)
    kept = Kept(store, target, str(store.files.folder.resolve()) if stills is None else stills)
    found = plan(store, target, kept.refusals)
    return Estimate(
        groups={group: len(ids) for group, ids in found.groups.items()},
        read_before=found.read,
        refused=found.refused,
        size_bytes=found.size_bytes,
        still_s=_still_s(kept, found),
    )


def _still_s(kept: Kept, found: Plan) -> float | None:
    parts = [part for batch in islice(kept.batches(found, 1), _TRIED + 1) for part in batch.parts()]
    if not parts:
        return None
    maps, *tried = parts[: _TRIED + 1]
    read_batch(maps.job)
    took = []
    for part in tried or [maps]:
        began = time.perf_counter()
        if read_batch(part.job).found:
            took.append(time.perf_counter() - began)
    return sorted(took)[len(took) // 2] if took else None
