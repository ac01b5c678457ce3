"""An archive taken into a store: everything looked at first, then all of it or nothing."""

from __future__ import annotations

import itertools
from array import array
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import sqlalchemy as sa

from calibration.errors import RestmarkError

from .. import tables as t
from ..plain import plain_columns
from ..records import IMPORTED
from .carried import CARRIED, Carried, Row
from .errors import damaged
from .manifest import newer
from .numbers import Known, Numbers
from .opening import Opened

Checks = Mapping[str, Callable[[Any], object]]
"""What a document must be, by its column: ``readings.layout``; ``lenses`` for those; raises
RestmarkError."""
_AT_ONCE = 200
_HOME = ("players", "tables")
"""A new store's first player and first table, which become those of the archive."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What taking an archive in did, by kind of row; ``lenses`` are files."""

    added: Mapping[str, int]
    there: Mapping[str, int]
    numbers: Mapping[str, Mapping[int, int]]
    """Numbers in the archive and here, of tables and players."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "added": dict(self.added),
            "there": dict(self.there),
            "numbers": {
                name: {str(was): now for was, now in numbers.items()}
                for name, numbers in self.numbers.items()
            },
        }


def look_over(archive: Opened, checks: Checks, *, steps: Collection[str]) -> None:
    """Refuse an archive with a row that could not be kept, or points to one that is not there.

    ``steps`` are those of the database that this release knows.

    Raises:
        ArchiveError: it is refused.
    """
    if archive.manifest.step not in steps:
        raise newer("manifest.json step", archive.manifest.step[:40], max(steps))
    numbers: dict[str, Numbers] = defaultdict(Numbers)
    missing = set(archive.manifest.missing_stills)
    # starts of hashes, 8 bytes a row
    shown = array("Q")
    for carried in CARRIED:
        name = carried.table.name
        for place, row in enumerate(archive.rows(carried), 1):
            where = f"{carried.member} line {place}"
            for column, target in carried.points_to.items():
                if row[column] is not None and row[column] not in numbers[target]:
                    raise damaged(f"{where}.{column}", f"{row[column]}, which no row has")
            if carried.has_number:
                if row["id"] <= numbers[name].last:
                    allowed = "each number once, from 1, in ascending order"
                    raise damaged(f"{where}.id", f"{row['id']}", allowed)
                numbers[name].add(row["id"], row["id"])
            if name == "stills" and row["sha256"] not in missing:
                if archive.still_size(row["sha256"]) != row["size_bytes"]:
                    raise damaged(f"{where}.sha256", "a still that does not lie in the archive")
                shown.append(int(row["sha256"][:16], 16))
            _check_documents(carried, row, checks, where)
    unnamed = archive.manifest.stills - len(np.unique(np.array(shown, np.uint64)))
    if unnamed:
        raise damaged("archive", f"{unnamed} stills that no row names")


def _check_documents(carried: Carried, row: Row, checks: Checks, where: str) -> None:
    for column in carried.columns:
        check = checks.get(f"{carried.table.name}.{column.name}")
        if check is None or row[column.name] is None:
            continue
        try:
            check(row[column.name])
        except RestmarkError as wrong:
            got = f"a document that is refused ({wrong.detail})"
            raise damaged(f"{where}.{column.name}", got) from None
        except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as wrong:
            got = f"a document that cannot be understood ({type(wrong).__name__}: {wrong})"
            raise damaged(f"{where}.{column.name}", got) from None


def take_in(connection: sa.Connection, archive: Opened) -> Taken:
    """Put the rows of an archive that was looked over into the database."""
    taking = _Taking(connection=connection, archive=archive, is_new=_is_new(connection))
    for carried in CARRIED:
        taking.take(carried)
    return Taken(
        added=dict(taking.added),
        there=dict(taking.there),
        numbers={name: dict(taking.numbers[name].items()) for name in _HOME},
    )


def _is_new(connection: sa.Connection) -> bool:
    """Whether the store holds nothing but its first player and table."""
    counts = {
        carried.table.name: connection.execute(
            sa.select(sa.func.count()).select_from(carried.table)
        ).scalar_one()
        for carried in CARRIED
    }
    return all(count == (name in _HOME) for name, count in counts.items())


@dataclass(slots=True, kw_only=True)
class _Taking:
    """One archive on its way into one database."""

    connection: sa.Connection
    archive: Opened
    is_new: bool
    numbers: dict[str, Numbers] = field(default_factory=lambda: defaultdict(Numbers))
    """A row's number here by its number in the archive, a table each."""
    inserted: dict[str, Numbers] = field(default_factory=lambda: defaultdict(Numbers))
    """The same of rows that were not here."""
    added: dict[str, int] = field(default_factory=dict)
    there: dict[str, int] = field(default_factory=dict)

    def take(self, carried: Carried) -> None:
        """All rows of one table."""
        name = carried.table.name
        self.added[name] = self.there[name] = 0
        known = self._known(carried)
        for batch in _batches(self.archive.rows(carried)):
            numbers: dict[int, int] = {}
            fresh = [row for row in batch if not self._is_there(carried, row, known, numbers)]
            numbers |= self._insert(carried, fresh)
            for there in sorted(numbers):
                self.numbers[name].add(there, numbers[there])
            self.added[name] += len(fresh)
            self.there[name] += len(batch) - len(fresh)

    def _known(self, carried: Carried) -> Known:
        """Rows that are here by what they are known by."""
        columns = [carried.table.c[name] for name in carried.known_by]
        number = carried.table.c.id if carried.has_number else sa.literal(0)
        query = sa.select(number, *columns).order_by(*carried.table.primary_key.columns)
        found = self.connection.execute(query.execution_options(yield_per=1000))
        return Known((row[0], tuple(row[1:])) for row in found)

    def _is_there(self, carried: Carried, row: Row, known: Known, numbers: dict[int, int]) -> bool:
        """Whether the row is here already; its number here goes to ``numbers`` then."""
        name = carried.table.name
        if carried.parent is not None:
            target = carried.points_to[carried.parent]
            return row[carried.parent] not in self.inserted[target]
        if self.is_new and name in _HOME and not (self.numbers[name] or numbers):
            numbers[row["id"]] = self._moved_in(carried, row)
            return True
        here = self._here(carried, row)
        number = known.meet(tuple(here[column] for column in carried.known_by))
        if number is None:
            return False
        if carried.has_number:
            numbers[row["id"]] = number
        return True

    def _moved_in(self, carried: Carried, row: Row) -> int:
        """A new store's own first player or table becomes the archive's first; its number."""
        number: int = self.connection.execute(sa.select(carried.table.c.id)).scalar_one()
        values = self._here(carried, row)
        del values["id"]
        self.connection.execute(
            sa.update(carried.table).where(carried.table.c.id == number).values(**values)
        )
        return number

    def _insert(self, carried: Carried, rows: list[Row]) -> dict[int, int]:
        """Put rows in; their numbers here by those in the archive."""
        if not rows:
            return {}
        table = carried.table
        values = [carried.at_home(self._here(carried, row)) for row in rows]
        if table is t.attempts:
            self._add_plain(values)
        if table is t.practices:
            self._finish(values)
        if not carried.has_number:
            self.connection.execute(sa.insert(table), values)
            return {}
        for row in values:
            del row["id"]
        made = self.connection.execute(
            sa.insert(table).returning(table.c.id, sort_by_parameter_order=True), values
        )
        numbers = dict(zip((row["id"] for row in rows), made.scalars(), strict=True))
        for there, here in numbers.items():
            self.inserted[table.name].add(there, here)
        return numbers

    def _here(self, carried: Carried, row: Row) -> Row:
        """The row with the numbers that what it points to has here."""
        calibrations = self.numbers[t.calibrations.name]
        layouts = {column: _layout_here(row[column], calibrations) for column in carried.layouts}
        return (
            row
            | layouts
            | {
                column: self.numbers[target][row[column]]
                for column, target in carried.points_to.items()
                if row[column] is not None
            }
        )

    def _finish(self, practices: list[Row]) -> None:
        """A practice that was open ends with its last still: nobody plays it here."""
        stills = t.stills.c
        for row in practices:
            if row["finished_at"] is None:
                last = sa.select(sa.func.max(stills.received_at)).where(
                    stills.table_id == row["table_id"],
                    stills.source != IMPORTED,
                    stills.received_at >= row["began_at"],
                    stills.received_at <= self.archive.manifest.made_at,
                )
                ended = self.connection.execute(last).scalar_one()
                row["finished_at"] = row["began_at"] if ended is None else ended

    def _add_plain(self, attempts: list[Row]) -> None:
        """The figures that statistics ask for, worked out anew: the archive may say anything."""
        intents = sa.select(t.intents.c.id, t.intents.c.document).where(
            t.intents.c.id.in_([row["intent_id"] for row in attempts])
        )
        documents = {row.id: row.document for row in self.connection.execute(intents)}
        for row in attempts:
            offsets = (row["offset_along_mm"], row["offset_across_mm"])
            row |= plain_columns(row["verdict"], documents[row["intent_id"]], offsets_mm=offsets)


def _batches(rows: Iterator[Row]) -> Iterator[list[Row]]:
    while batch := list(itertools.islice(rows, _AT_ONCE)):
        yield batch


def _layout_here(layout: Row, calibrations: Numbers) -> Row:
    """A layout whose cameras name their calibrations by the numbers that those have here."""
    if not layout.get("cameras"):
        return layout
    parts = [
        part | {"calibration_id": calibrations.get(part.get("calibration_id") or 0)}
        for part in layout["cameras"]
    ]
    return layout | {"cameras": parts}
