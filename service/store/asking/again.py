"""Stills and how they were read, many at once: what reading an archive again asks."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
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


_PARTS_AT_ONCE = 50
"""Joined layouts hold those of all cameras beside their own."""
_CAMERAS = "cameras"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartToRead:
    """One camera's still of a moment of several."""

    camera: str
    name: str
    sha256: str
    size_bytes: int
    calibration_id: int
    """That it was read with first."""


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
    parts: tuple[PartToRead, ...] = ()
    """The stills of its moment, itself among them, where several cameras looked."""
    away: tuple[str, ...] = ()
    """The cameras that gave none then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeWith:
    """A reading by what it was made with, beside networks and release."""

    still_id: int
    calibration_id: int
    set_id: int | None
    cameras: tuple[tuple[str, int], ...] = ()
    """Calibration of each camera, by name, where several looked."""


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

        Of a moment of several cameras the still that its reading is kept with, the others as its
        parts; not where it was not kept which calibration each was read with.
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
            *(t.stills.c[name] for name in columns),
            first.c.calibration_id,
            first.c.id.label("reading_id"),
            _is_joint(first).label("is_joint"),
        ).join_from(t.stills, first, first.c.id == lowest)
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
            parts = self._parts_of([row.reading_id for row in rows if row.is_joint])
            for row in rows:
                plain = {name: getattr(row, name) for name in (*columns, "calibration_id")}
                if not row.is_joint:
                    yield StillToRead(**plain)
                elif row.reading_id in parts:
                    joint, away = parts[row.reading_id]
                    yield StillToRead(**plain, parts=joint, away=away)
            if len(rows) < _AT_ONCE:
                return
            last = rows[-1].id

    def _parts_of(
        self, reading_ids: Sequence[int]
    ) -> dict[int, tuple[tuple[PartToRead, ...], tuple[str, ...]]]:
        """Stills of joined readings, and who was away, where all is kept that reads them again."""
        out = {}
        for reading_id, told in self._told_of(reading_ids).items():
            kept = [part for part in told if part.get("sha256")]
            sizes = self._sizes({part["sha256"] for part in kept})
            if all(part.get("calibration_id") and part["sha256"] in sizes for part in kept):
                out[reading_id] = (
                    tuple(
                        PartToRead(
                            camera=part["camera"], name=part["still"], sha256=part["sha256"],
                            size_bytes=sizes[part["sha256"]],
                            calibration_id=part["calibration_id"],
                        )
                        for part in kept
                    ),
                    tuple(part["camera"] for part in told if not part.get("sha256")),
                )  # fmt: skip
        return out

    def _told_of(self, reading_ids: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
        """What joined layouts say of their cameras, without each camera's own layout."""
        out = {}
        for start in range(0, len(reading_ids), _PARTS_AT_ONCE):
            some = reading_ids[start : start + _PARTS_AT_ONCE]
            query = sa.select(t.readings.c.id, t.readings.c.layout[_CAMERAS].label(_CAMERAS))
            for row in self._connection.execute(query.where(t.readings.c.id.in_(some))):
                out[row.id] = [
                    {name: value for name, value in part.items() if name != "layout"}
                    for part in row.cameras
                ]
        return out

    def _sizes(self, hashes: Collection[str]) -> dict[str, int]:
        query = sa.select(t.stills.c.sha256, t.stills.c.size_bytes)
        rows = self._connection.execute(query.where(t.stills.c.sha256.in_(hashes)))
        return {row.sha256: row.size_bytes for row in rows}

    def read_with(
        self,
        *,
        weights: str,
        software: str,
        table_id: int | None = None,
        ids: Collection[int] | None = None,
    ) -> Iterator[MadeWith]:
        """Every reading that those networks and release made."""
        readings = t.readings.c
        query = sa.select(
            readings.id, readings.still_id, readings.calibration_id, readings.set_id,
            _is_joint(t.readings).label("is_joint"),
        ).where(readings.weights == weights, readings.software == software)  # fmt: skip
        if table_id is not None:
            query = query.where(readings.table_id == table_id)
        if ids is not None:
            query = query.where(readings.still_id.in_(ids))
        joint: dict[int, MadeWith] = {}
        for row in self._connection.execute(query.execution_options(yield_per=_AT_ONCE)):
            made = MadeWith(
                still_id=row.still_id, calibration_id=row.calibration_id, set_id=row.set_id
            )
            if row.is_joint:
                joint[row.id] = made
            else:
                yield made
        for reading_id, told in self._told_of(list(joint)).items():
            yield replace(joint[reading_id], cameras=_calibrations(told))

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


def _is_joint(readings: sa.FromClause) -> sa.ColumnElement[bool]:
    return readings.c.layout[_CAMERAS].as_string().is_not(None)


def _calibrations(told: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, int], ...]:
    """As ``Layout.calibration_ids``, of what a joined layout says of its cameras."""
    found = ((part["camera"], part.get("calibration_id"), part.get("sha256")) for part in told)
    return tuple(sorted((camera, number) for camera, number, sha256 in found if number and sha256))
