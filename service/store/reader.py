"""Questions to the store. Each is answered from one consistent look at the rows."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import sqlalchemy as sa

from . import tables as t
from .records import (
    AttemptRecord,
    CalibrationRecord,
    CorrectionRecord,
    IntentRecord,
    NotFoundError,
    PlayerRecord,
    ReadingRecord,
    Receipt,
    Score,
    SetRecord,
    StillRecord,
)
from .rows import Row, around_of, attempt_of, intent_of, layout_of, reading_of, still_of

_READINGS = sa.select(
    t.readings.c.id,
    t.readings.c.still_id,
    t.readings.c.calibration_id,
    t.readings.c.read_at,
    t.readings.c.took_ms,
    t.readings.c.layout,
    t.readings.c.comparison,
    t.stills.c.received_at,
    t.stills.c.name,
    t.stills.c.media_type,
    t.stills.c.sha256,
    t.stills.c.size_bytes,
).join_from(t.readings, t.stills)


_SCORED = (
    "id",
    "made_at",
    "offset_along_mm",
    "offset_across_mm",
    "travel_mm",
    "cut_deg",
    "rails",
    "spin",
    "side_spin",
    "in_a_row",
)
"""Columns of an attempt that statistics need."""


class Reader:
    """Reads on one connection; made by ``Store.reading()`` and, inside a write, by ``Writer``."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection

    # -- calibration -----------------------------------------------------------------------

    def calibration(self, number: int | None = None) -> CalibrationRecord | None:
        """The calibration of that number, or the one that holds now; None before the first."""
        query = sa.select(t.calibrations).order_by(t.calibrations.c.id.desc()).limit(1)
        if number is not None:
            query = query.where(t.calibrations.c.id == number)
        row = self._connection.execute(query).one_or_none()
        return (
            CalibrationRecord(id=row.id, set_at=row.set_at, document=row.document) if row else None
        )

    # -- stills and readings ---------------------------------------------------------------

    def still(self, number: int) -> StillRecord:
        """The still of that number; NotFoundError where there is none."""
        row = self._connection.execute(
            sa.select(t.stills).where(t.stills.c.id == number)
        ).one_or_none()
        if row is None:
            raise NotFoundError.of("still", number, "the list of stills")
        return still_of(row, row.id)

    def stills(self, *, limit: int, before: int | None = None) -> tuple[StillRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        query = sa.select(t.stills).order_by(t.stills.c.id.desc()).limit(limit)
        if before is not None:
            query = query.where(t.stills.c.id < before)
        return tuple(still_of(row, row.id) for row in self._connection.execute(query))

    def reading(self, number: int) -> ReadingRecord:
        """The reading of that number; NotFoundError where there is none."""
        row = self._connection.execute(_READINGS.where(t.readings.c.id == number)).one_or_none()
        if row is None:
            raise NotFoundError.of("reading", number, "the list of readings")
        return reading_of(row)

    def readings(self, *, limit: int, before: int | None = None) -> tuple[ReadingRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        query = _READINGS.order_by(t.readings.c.id.desc()).limit(limit)
        if before is not None:
            query = query.where(t.readings.c.id < before)
        return tuple(reading_of(row) for row in self._connection.execute(query))

    def latest_reading(self) -> ReadingRecord | None:
        """The newest reading, whatever it is worth."""
        return next(iter(self.readings(limit=1)), None)

    def latest_comparable(self, calibration_id: int) -> ReadingRecord | None:
        """The newest reading made with that calibration of a clear table at rest."""
        query = _READINGS.where(
            t.readings.c.comparable, t.readings.c.calibration_id == calibration_id
        )
        row = self._connection.execute(
            query.order_by(t.readings.c.id.desc()).limit(1)
        ).one_or_none()
        return reading_of(row) if row else None

    # -- intents and attempts --------------------------------------------------------------

    def pending_intent(self) -> IntentRecord | None:
        """The intent that waits for its shot."""
        row = self._connection.execute(
            sa.select(t.intents).where(t.intents.c.state == "pending")
        ).one_or_none()
        return intent_of(row) if row else None

    def intent(self, number: int) -> IntentRecord:
        """The intent of that number; NotFoundError where there is none."""
        row = self._connection.execute(
            sa.select(t.intents).where(t.intents.c.id == number)
        ).one_or_none()
        if row is None:
            raise NotFoundError.of("intent", number, "the list of attempts")
        return intent_of(row)

    def attempt(self, number: int) -> AttemptRecord:
        """The attempt of that number; NotFoundError where there is none."""
        found = self._attempts(sa.select(t.attempts).where(t.attempts.c.id == number))
        if not found:
            raise NotFoundError.of("attempt", number, "the list of attempts")
        return found[0]

    def attempt_after(self, reading_id: int) -> AttemptRecord | None:
        """The attempt that the reading of that number ended."""
        query = sa.select(t.attempts).where(t.attempts.c.after_reading_id == reading_id)
        return next(iter(self._attempts(query.order_by(t.attempts.c.id.desc()).limit(1))), None)

    def attempts(
        self, *, limit: int | None = None, before: int | None = None
    ) -> tuple[AttemptRecord, ...]:
        """Newest first, at most ``limit``, only those numbered below ``before``."""
        query = sa.select(t.attempts).order_by(t.attempts.c.id.desc()).limit(limit)
        if before is not None:
            query = query.where(t.attempts.c.id < before)
        return self._attempts(query)

    def scores(self) -> tuple[Score, ...]:
        """What statistics need of every attempt, in the order they were played."""
        # as text: most of them were read before, and whoever remembers them need not parse them
        query = sa.select(
            sa.type_coerce(t.intents.c.document, sa.Text).label("intent_text"),
            sa.type_coerce(t.attempts.c.verdict, sa.Text).label("verdict_text"),
            *(t.attempts.c[name] for name in _SCORED),
        ).join_from(t.attempts, t.intents)
        return tuple(
            Score(
                attempt_id=row.id,
                intent_text=row.intent_text,
                verdict_text=row.verdict_text,
                offset_along_mm=row.offset_along_mm,
                offset_across_mm=row.offset_across_mm,
                around=around_of(row),
            )
            for row in self._connection.execute(
                query.order_by(t.attempts.c.made_at, t.attempts.c.id)
            )
        )

    def _attempts(self, query: sa.Select[Any]) -> tuple[AttemptRecord, ...]:
        """The query's attempts, with what they point to fetched at once."""
        rows = self._connection.execute(query).all()
        intents = self._by_id(sa.select(t.intents), t.intents, {row.intent_id for row in rows})
        ends = {row.before_reading_id for row in rows} | {row.after_reading_id for row in rows}
        readings = {
            number: reading_of(row)
            for number, row in self._by_id(_READINGS, t.readings, ends).items()
        }
        return tuple(
            attempt_of(
                row,
                intent=intent_of(intents[row.intent_id]),
                before=readings[row.before_reading_id],
                after=readings[row.after_reading_id],
            )
            for row in rows
        )

    def _by_id(
        self, query: sa.Select[Any], table: sa.Table, numbers: Collection[int]
    ) -> dict[int, Row]:
        found = self._connection.execute(query.where(table.c.id.in_(numbers)))
        return {row.id: row for row in found}

    def attempts_with(self, reading_id: int) -> tuple[AttemptRecord, ...]:
        """Attempts that start or end with the reading of that number, in the order played."""
        query = sa.select(t.attempts).where(
            (t.attempts.c.before_reading_id == reading_id)
            | (t.attempts.c.after_reading_id == reading_id)
        )
        return self._attempts(query.order_by(t.attempts.c.id))

    # -- the player ------------------------------------------------------------------------

    def player(self) -> PlayerRecord | None:
        """The settings that were given last; None where nobody gave any."""
        row = self._connection.execute(
            sa.select(t.players).order_by(t.players.c.id.desc()).limit(1)
        ).one_or_none()
        return PlayerRecord(id=row.id, set_at=row.set_at, document=row.document) if row else None

    # -- the ball set ----------------------------------------------------------------------

    def ball_set(self) -> SetRecord | None:
        """The set that was given last; None before the first."""
        row = self._connection.execute(
            sa.select(t.sets).order_by(t.sets.c.id.desc()).limit(1)
        ).one_or_none()
        return SetRecord(id=row.id, taught_at=row.taught_at, document=row.document) if row else None

    def corrected_readings(self, *, limit: int) -> tuple[ReadingRecord, ...]:
        """Readings whose names were corrected since the last set was given, oldest first.

        At most ``limit``, the last corrected ones.
        """
        ball_set = self.ball_set()
        held = t.corrections.c.set_id == ball_set.id if ball_set else sa.true()
        newest = sa.func.max(t.corrections.c.id)
        query = sa.select(t.corrections.c.reading_id).where(held)
        query = query.group_by(t.corrections.c.reading_id).order_by(newest.desc()).limit(limit)
        numbers = self._connection.execute(query).scalars().all()
        return tuple(self.reading(number) for number in reversed(numbers))

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

    # -- the rest --------------------------------------------------------------------------

    def receipt(self, key: str) -> Receipt | None:
        """What was answered under that idempotency key."""
        row = self._connection.execute(
            sa.select(t.receipts).where(t.receipts.c.key == key)
        ).one_or_none()
        return Receipt(key=row.key, fingerprint=row.fingerprint, body=row.body) if row else None

    def counts(self) -> dict[str, int]:
        """How many stills, readings and attempts there are."""
        return {
            table.name: self._connection.execute(
                sa.select(sa.func.count()).select_from(table)
            ).scalar_one()
            for table in (t.stills, t.readings, t.attempts)
        }
