"""Is what lies in the data directory whole? Looked at whenever it is opened."""

from __future__ import annotations

import time
from dataclasses import dataclass

import sqlalchemy as sa

from . import tables as t
from .files import StillFiles
from .records import WAY_OUT, DamagedError, StillRecord

STILLS_LIMIT_S = 2.0
"""Longest time a start may take over the stills; the newest are looked at first."""
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


def check_structure(connection: sa.Connection, *, place: str) -> None:
    """Refuse a database whose pages do not hang together."""
    found = connection.exec_driver_sql(f"PRAGMA quick_check({NAMED})").scalars().all()
    if list(found) != ["ok"]:
        raise DamagedError(
            f"{place}: restmark.db is damaged ({'; '.join(map(str, found))}); allowed: a whole "
            f"database. {WAY_OUT}"
        )


def check_cells(connection: sa.Connection, *, place: str) -> None:
    """Refuse a database with a cell that cannot have been written so."""
    wrong = [cell for table in t.metadata.sorted_tables for cell in _wrong_cells(connection, table)]
    wrong += _wrong_references(connection)
    if wrong:
        more = f" and {len(wrong) - NAMED} more" if len(wrong) > NAMED else ""
        raise DamagedError(
            f"{place}: restmark.db is damaged at {', '.join(wrong[:NAMED])}{more}; allowed: a "
            f"whole database. {WAY_OUT}"
        )


def check_stills(
    connection: sa.Connection, files: StillFiles, *, limit_s: float = STILLS_LIMIT_S
) -> StillsCheck:
    """Look for every still's file by size, then by content, newest first, while time is left."""
    give_up = time.monotonic() + limit_s
    rows = connection.execute(sa.select(t.stills).order_by(t.stills.c.id.desc())).all()
    stills = [StillRecord(**row._asdict()) for row in rows]
    damaged: dict[int, StillRecord] = {}
    counts = []
    for is_whole in (files.has_size, files.has_content):
        count = 0
        for still in stills:
            if time.monotonic() > give_up:
                break
            count += 1
            if still.id not in damaged and not is_whole(still.sha256, still.size_bytes):
                damaged[still.id] = still
        counts.append(count)
    return StillsCheck(
        stills=len(stills), sized=counts[0], hashed=counts[1], damaged=tuple(damaged.values())
    )


def _wrong_cells(connection: sa.Connection, table: sa.Table) -> list[str]:
    """Names of cells that hold another kind of value than their column does."""
    key = next(iter(table.primary_key)).name
    wrong = [(column.name, f"NOT coalesce({_whole(column)}, 0)") for column in table.columns]
    which = " ".join(f"WHEN {condition} THEN '{name}'" for name, condition in wrong)
    query = (
        f'SELECT "{key}", CASE {which} END FROM "{table.name}" '
        f"WHERE {' OR '.join(condition for _, condition in wrong)}"
    )
    return [f"{table.name}[{row[0]}].{row[1]}" for row in connection.exec_driver_sql(query)]


def _whole(column: sa.Column[object]) -> str:
    """Condition in SQL for a cell of that column to be what is written there."""
    cell = f'"{column.name}"'
    if isinstance(column.type, sa.JSON):
        whole = f"CASE WHEN json_valid({cell}) THEN json_type({cell}) IN ('object', 'array') END"
    elif isinstance(column.type, t.UtcTime):
        whole = f"typeof({cell}) = 'text' AND datetime({cell}) IS NOT NULL"
    elif isinstance(column.type, sa.Boolean):
        whole = f"{cell} IN (0, 1)"
    elif isinstance(column.type, sa.Integer):
        whole = f"typeof({cell}) = 'integer'"
    elif isinstance(column.type, sa.Float):
        whole = f"typeof({cell}) IN ('real', 'integer')"
    else:
        whole = f"typeof({cell}) = 'text'"
    return f"({cell} IS NULL OR ({whole}))" if column.nullable else f"({whole})"


def _wrong_references(connection: sa.Connection) -> list[str]:
    """Rows that point to a row which is not there."""
    found = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"{row[0]}[{row[1]}] (its {row[2]} is gone)" for row in found]
