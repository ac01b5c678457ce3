"""Stills, readings, and what was said of their names."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa

from .. import tables as t
from ..records import FIRST, CorrectionRecord, ReadingRecord, StillRecord
from ..rows import layout_of, reading_of, still_of
from .places import AskingPlaces

READINGS = sa.select(
    *(column for column in t.readings.c if column.name != "comparable"),
    *(column.label(f"still_{column.name}") for column in t.stills.c if column.name != "id"),
).join_from(t.readings, t.stills)
"""Readings with their stills."""


class AskingSeen(AskingPlaces):
    """Questions about stills and readings."""

    def still(self, number: int) -> StillRecord:
        """The still of that number; NotFoundError where there is none."""
        query = sa.select(t.stills).where(t.stills.c.id == number)
        return still_of(self._one(query, number, "still", "the list of stills"))

    def stills(
        self, *, limit: int, before: int | None = None, table_id: int | None = None
    ) -> tuple[StillRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        rows = self._newest_first(
            sa.select(t.stills), t.stills, limit=limit, before=before, table_id=table_id
        )
        return tuple(still_of(row) for row in rows)

    def reading(self, number: int) -> ReadingRecord:
        """The reading of that number; NotFoundError where there is none."""
        query = READINGS.where(t.readings.c.id == number)
        return reading_of(self._one(query, number, "reading", "the list of readings"))

    def readings(
        self,
        *,
        limit: int,
        before: int | None = None,
        table_id: int | None = None,
        live: bool | None = None,
        still_id: int | None = None,
    ) -> tuple[ReadingRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``.

        None: of every table, live or not, of every still. A still read again has several.
        """
        rows = self._newest_first(
            READINGS,
            t.readings,
            limit=limit,
            before=before,
            table_id=table_id,
            live=live,
            still_id=still_id,
        )
        return tuple(reading_of(row) for row in rows)

    def latest_reading(self, table_id: int | None = None) -> ReadingRecord | None:
        """The newest reading, whatever it is worth, live or not."""
        return next(iter(self.readings(limit=1, table_id=table_id)), None)

    def latest_live(self, table_id: int = FIRST) -> ReadingRecord | None:
        """The newest reading of a still that was taken then at that table."""
        return next(iter(self.readings(limit=1, table_id=table_id, live=True)), None)

    def latest_shown(self, table_id: int = FIRST) -> ReadingRecord | None:
        """The newest live reading; before the first one, that of the still that came last.

        Of a still read again the first reading is meant.
        """
        live = self.latest_live(table_id)
        if live is not None:
            return live
        last = sa.select(sa.func.max(t.readings.c.still_id)).where(
            t.readings.c.table_id == table_id
        )
        query = READINGS.where(t.readings.c.still_id == last.scalar_subquery())
        row = self._connection.execute(query.order_by(t.readings.c.id).limit(1)).one_or_none()
        return reading_of(row) if row else None

    def latest_comparable(self, calibration_id: int) -> ReadingRecord | None:
        """The newest live reading made with that calibration of a clear table at rest."""
        row = self._newest(
            READINGS.where(
                t.readings.c.live,
                t.readings.c.comparable,
                t.readings.c.calibration_id == calibration_id,
            ),
            t.readings,
        )
        return reading_of(row) if row else None

    def live_reading_of(self, sha256: str, table_id: int = FIRST) -> ReadingRecord | None:
        """The live reading of those very bytes at that table; None where they never came."""
        row = self._newest(
            READINGS.where(
                t.readings.c.live, t.readings.c.table_id == table_id, t.stills.c.sha256 == sha256
            ),
            t.readings,
        )
        return reading_of(row) if row else None

    def corrected_readings(self, *, limit: int, table_id: int = FIRST) -> tuple[ReadingRecord, ...]:
        """Readings whose names were corrected since the table's last set was given, oldest first.

        At most ``limit``, the last corrected ones.
        """
        ball_set = self.ball_set(table_id)
        newest = sa.func.max(t.corrections.c.id)
        query = sa.select(t.corrections.c.reading_id).join_from(t.corrections, t.readings)
        query = query.where(t.readings.c.table_id == table_id)
        if ball_set is not None:
            query = query.where(t.corrections.c.set_id == ball_set.id)
        query = query.group_by(t.corrections.c.reading_id).order_by(newest.desc()).limit(limit)
        numbers = self._connection.execute(query).scalars().all()
        return tuple(self.reading(number) for number in reversed(numbers))

    def reading_numbers(
        self,
        *,
        table_id: int | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        corrected: bool = False,
    ) -> tuple[int, ...]:
        """One reading of every still that came in that time, in the order the stills came.

        Of a still read several times the last one whose names somebody spoke of, else the last.
        The same bytes at one table are one still. ``corrected``: only those spoken of.
        """
        spoken = sa.exists().where(t.corrections.c.reading_id == t.readings.c.id).label("spoken")
        query = sa.select(
            t.readings.c.id, t.readings.c.table_id, t.readings.c.read_at, t.stills.c.sha256, spoken
        ).join_from(t.readings, t.stills)
        if table_id is not None:
            query = query.where(t.readings.c.table_id == table_id)
        if since is not None:
            query = query.where(t.stills.c.received_at >= since)
        if until is not None:
            query = query.where(t.stills.c.received_at < until)
        chosen: dict[tuple[int, str], tuple[bool, datetime, int]] = {}
        for row in self._connection.execute(query.order_by(t.stills.c.id, t.readings.c.id)):
            still, mine = (row.table_id, row.sha256), (bool(row.spoken), row.read_at, row.id)
            chosen[still] = max(chosen.get(still, mine), mine)
        return tuple(
            number for is_spoken, _, number in chosen.values() if is_spoken or not corrected
        )

    def corrections(self, reading_id: int) -> tuple[CorrectionRecord, ...]:
        """What was said of that reading's names, oldest first; what was taken back is gone."""
        query = sa.select(t.corrections).where(t.corrections.c.reading_id == reading_id)
        return tuple(
            CorrectionRecord(
                id=row.id,
                made_at=row.made_at,
                reading_id=row.reading_id,
                names=row.names,
                layout_before=layout_of(row.layout_before, f"corrections[{row.id}].layout_before"),
            )
            for row in self._connection.execute(query.order_by(t.corrections.c.id))
        )
