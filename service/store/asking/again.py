"""Stills and how they were read, many at once: what reading an archive again asks."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from ..records import ReadingRecord
from ..rows import reading_of
from .base import Asking
from .seen import READINGS

_AT_ONCE = 2000
_SETTLED = t.readings.c.layout["settled"].as_boolean()


@dataclass(frozen=True, slots=True, kw_only=True)
class StillToRead:
    """A still, with what reading it again must know."""

    id: int
    table_id: int
    sha256: str
    name: str
    size_bytes: int
    calibration_id: int
    """Of its first reading."""


class AskingAgain(Asking):
    """Questions about stills in their order, a few thousand at a time."""

    def stills_to_read(
        self,
        *,
        table_id: int | None = None,
        since: datetime | None = None,
        ids: Collection[int] | None = None,
    ) -> Iterator[StillToRead]:
        """Stills that were read at least once, in the order of their numbers.

        Not those of several cameras: one of them alone is no reading of their moment.
        """
        first = t.readings.alias()
        newer = t.readings.alias()
        lowest = (
            sa.select(sa.func.min(newer.c.id))
            .where(newer.c.still_id == t.stills.c.id)
            .scalar_subquery()
        )
        columns = ("id", "table_id", "sha256", "name", "size_bytes")
        query = sa.select(
            *(t.stills.c[name] for name in columns), first.c.calibration_id
        ).join_from(t.stills, first, first.c.id == lowest)
        query = query.where(first.c.layout["cameras"].as_string().is_(None))
        if table_id is not None:
            query = query.where(t.stills.c.table_id == table_id)
        if since is not None:
            query = query.where(t.stills.c.received_at >= since)
        if ids is not None:
            query = query.where(t.stills.c.id.in_(ids))
        last = 0
        while True:
            page = query.where(t.stills.c.id > last).order_by(t.stills.c.id).limit(_AT_ONCE)
            rows = self._connection.execute(page).all()
            yield from (StillToRead(**row._mapping) for row in rows)
            if len(rows) < _AT_ONCE:
                return
            last = rows[-1].id

    def read_with(
        self,
        *,
        weights: str,
        software: str,
        table_id: int | None = None,
        ids: Collection[int] | None = None,
    ) -> Iterator[tuple[int, int, int | None]]:
        """Still, calibration and set of every reading that those networks and release made."""
        readings = t.readings.c
        query = sa.select(readings.still_id, readings.calibration_id, readings.set_id).where(
            readings.weights == weights, readings.software == software
        )
        if table_id is not None:
            query = query.where(readings.table_id == table_id)
        if ids is not None:
            query = query.where(readings.still_id.in_(ids))
        for row in self._connection.execute(query.execution_options(yield_per=_AT_ONCE)):
            yield (row.still_id, row.calibration_id, row.set_id)

    def unsettled(self, ids: Collection[int]) -> set[int]:
        """Of those stills the ones whose balls rolled, as an earlier reading says."""
        query = sa.select(t.readings.c.still_id).where(
            t.readings.c.still_id.in_(ids), _SETTLED.is_(False)
        )
        return set(self._connection.execute(query.distinct()).scalars())

    def readings_of(self, ids: Collection[int]) -> dict[int, list[ReadingRecord]]:
        """The readings of those stills, oldest first."""
        query = READINGS.where(t.readings.c.still_id.in_(ids)).order_by(t.readings.c.id)
        out: dict[int, list[ReadingRecord]] = {}
        for row in self._connection.execute(query):
            out.setdefault(row.still_id, []).append(reading_of(row))
        return out

    def all_readings(self) -> Iterator[ReadingRecord]:
        """Every reading, in the order of their numbers."""
        last = 0
        while True:
            query = READINGS.where(t.readings.c.id > last).order_by(t.readings.c.id)
            rows = self._connection.execute(query.limit(_AT_ONCE)).all()
            yield from (reading_of(row) for row in rows)
            if len(rows) < _AT_ONCE:
                return
            last = rows[-1].id

    def spoken_of(self, reading_ids: Collection[int]) -> set[int]:
        """Of those readings the ones whose names a person spoke of."""
        said = t.corrections.c.reading_id
        return set(self._connection.execute(sa.select(said).where(said.in_(reading_ids))).scalars())

    def mean_took_ms(self, weights: str) -> float | None:
        """Mean time of a reading by those networks; None where none was measured."""
        query: sa.Select[Any] = sa.select(sa.func.avg(t.readings.c.took_ms)).where(
            t.readings.c.weights == weights, t.readings.c.took_ms > 0
        )
        found = self._connection.execute(query).scalar_one()
        return None if found is None else float(found)
