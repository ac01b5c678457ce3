"""Are the stills' files whole? Looked at whenever a service starts, and once a day."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from . import tables as t
from .files import StillFiles
from .records import StillRecord

STILLS_LIMIT_S = 2.0
"""Longest time a start may take over the stills; the newest are looked at first."""
_AT_ONCE = 500
NAMED = 5
"""So many damaged things are named; the rest are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StillsCheck:
    """What was found of the stills' files."""

    stills: int
    sized: int
    """Stills whose file was looked at, newest first."""
    hashed: int
    """Stills whose every byte was looked at, newest first."""
    damaged: tuple[StillRecord, ...] = ()
    """Stills whose file is gone, of another size or of other bytes."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person must know; empty where all is well."""
        if not self.damaged:
            return ()
        named = ", ".join(f"{still.id} ({still.name})" for still in self.damaged[:NAMED])
        more = len(self.damaged) - NAMED
        return (
            f"{len(self.damaged)} of {self.stills} stills are gone or damaged on disk: {named}"
            f"{f' and {more} more' if more > 0 else ''}. What was read in them is kept; put their "
            "files in stills/ back from your copy, or post the same pictures again.",
        )


KeptStill = tuple[int, str, int]
"""A still's number, hash and bytes: a store has hundreds of thousands, and a start waits."""


def kept_stills(connection: sa.Connection) -> Sequence[KeptStill]:
    """All stills, newest first."""
    columns = t.stills.c
    query = sa.select(columns.id, columns.sha256, columns.size_bytes).order_by(columns.id.desc())
    return [(number, sha256, size) for number, sha256, size in connection.execute(query)]


def records_of(connection: sa.Connection, numbers: Sequence[int]) -> list[StillRecord]:
    """The stills of those numbers, newest first."""
    found = []
    ordered = sorted(numbers, reverse=True)
    for at in range(0, len(ordered), _AT_ONCE):
        some = t.stills.c.id.in_(ordered[at : at + _AT_ONCE])
        query = sa.select(t.stills).where(some).order_by(t.stills.c.id.desc())
        found += [StillRecord(**row._asdict()) for row in connection.execute(query)]
    return found


def check_stills(
    stills: Sequence[KeptStill],
    files: StillFiles,
    *,
    records: Callable[[Sequence[int]], Sequence[StillRecord]],
    limit_s: float = STILLS_LIMIT_S,
    pause_s: float = 0.0,
) -> StillsCheck:
    """Look for every still's file by size, then by content, in their order, while time is left.

    ``pause_s`` is left to others after each file that is read. ``records`` gives the stills of
    some numbers.
    """
    give_up = time.monotonic() + limit_s
    damaged: dict[int, None] = {}
    counts = []
    for is_whole, pause in ((files.has_size, 0.0), (files.has_content, pause_s)):
        count = 0
        for number, sha256, size_bytes in stills:
            if time.monotonic() > give_up:
                break
            count += 1
            if number not in damaged and not is_whole(sha256, size_bytes):
                damaged[number] = None
            if pause:
                time.sleep(pause)
        counts.append(count)
    return StillsCheck(
        stills=len(stills),
        sized=counts[0],
        hashed=counts[1],
        damaged=tuple(records(list(damaged))) if damaged else (),
    )
