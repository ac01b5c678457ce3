"""Changes to the store, all of one ``with store.writing()`` block in one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from vision.layout import Layout

from . import tables as t
from .files import StillFiles, media_type_of
from .reader import Reader
from .records import (
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    CorrectionRecord,
    IntentRecord,
    JudgedBy,
    PlayerRecord,
    ReadingRecord,
    SetRecord,
    StillRecord,
    StoreError,
)


class Writer(Reader):
    """Reads and writes inside one transaction; made by ``Store.writing()`` only."""

    def __init__(self, connection: sa.Connection, files: StillFiles) -> None:
        super().__init__(connection)
        self._files = files
        self._new_files: list[str] = []
        self._stills: list[tuple[str, int]] = []
        self._now = datetime.now(UTC)

    def take_back_files(self) -> None:
        """Remove the files that this transaction wrote and now has no rows for."""
        for sha256 in self._new_files:
            self._files.remove(sha256)

    def check_files(self) -> None:
        """Refuse before the commit where a still of this transaction is not on disk."""
        for sha256, size_bytes in self._stills:
            if not self._files.has_size(sha256, size_bytes):
                raise StoreError(
                    f"still {sha256[:12]}…: its file is gone again; allowed: a data directory that "
                    "nobody takes away. Put it back and start again."
                )

    def add_calibration(self, document: Mapping[str, Any]) -> CalibrationRecord:
        """A new version, which holds from now on; an intent from the old frame is withdrawn."""
        self.withdraw_intent()
        number = self._insert(t.calibrations, set_at=self._now, document=dict(document))
        return CalibrationRecord(id=number, set_at=self._now, document=document)

    def add_still(self, data: bytes, *, name: str) -> StillRecord:
        """The bytes on disk and their row; the same bytes twice share one file."""
        sha256, is_new = self._files.write(data)
        if is_new:
            self._new_files.append(sha256)
        self._stills.append((sha256, len(data)))
        media_type = media_type_of(data)
        number = self._insert(
            t.stills,
            received_at=self._now,
            name=name,
            media_type=media_type,
            sha256=sha256,
            size_bytes=len(data),
        )
        return StillRecord(
            id=number,
            received_at=self._now,
            name=name,
            media_type=media_type,
            sha256=sha256,
            size_bytes=len(data),
        )

    def add_reading(
        self,
        still: StillRecord,
        layout: Layout,
        *,
        calibration_id: int,
        took_ms: float,
        comparison: Mapping[str, Any] | None = None,
    ) -> ReadingRecord:
        """What was read in ``still``."""
        number = self._insert(
            t.readings,
            still_id=still.id,
            calibration_id=calibration_id,
            read_at=self._now,
            took_ms=took_ms,
            comparable=layout.settled and not layout.obstructed,
            layout=layout.to_dict(),
            comparison=comparison,
        )
        return ReadingRecord(
            id=number,
            still=still,
            calibration_id=calibration_id,
            read_at=self._now,
            took_ms=took_ms,
            layout=layout,
            comparison=comparison,
        )

    def add_player(self, document: Mapping[str, Any]) -> PlayerRecord:
        """The player's settings, which hold from now on; attempts made before keep their own."""
        number = self._insert(t.players, set_at=self._now, document=dict(document))
        return PlayerRecord(id=number, set_at=self._now, document=document)

    def add_set(self, document: Mapping[str, Any]) -> SetRecord:
        """A taught set, which holds from now on; corrections before it no longer count."""
        number = self._insert(t.sets, taught_at=self._now, document=dict(document))
        return SetRecord(id=number, taught_at=self._now, document=document)

    def correct_reading(
        self, reading: ReadingRecord, layout: Layout, names: Sequence[Mapping[str, Any]]
    ) -> ReadingRecord:
        """The reading with its layout's names put right; what it was before is kept."""
        ball_set = self.ball_set()
        self._insert(
            t.corrections,
            made_at=self._now,
            reading_id=reading.id,
            set_id=ball_set.id if ball_set else None,
            names=[dict(item) for item in names],
            layout_before=reading.layout.to_dict(),
        )
        self._connection.execute(
            sa.update(t.readings)
            .where(t.readings.c.id == reading.id)
            .values(layout=layout.to_dict())
        )
        return replace(reading, layout=layout)

    def take_back(self, correction: CorrectionRecord) -> ReadingRecord:
        """The correction's reading as it was before; no later correction may stand on it."""
        self._connection.execute(
            sa.delete(t.corrections).where(t.corrections.c.id == correction.id)
        )
        self._connection.execute(
            sa.update(t.readings)
            .where(t.readings.c.id == correction.reading_id)
            .values(layout=correction.layout_before.to_dict())
        )
        return self.reading(correction.reading_id)

    def judge_again(
        self,
        attempt: AttemptRecord,
        verdict: Mapping[str, Any],
        *,
        offsets_mm: tuple[float | None, float | None],
        circumstances: Circumstances,
    ) -> None:
        """Another verdict for an attempt one of whose layouts was corrected.

        Of ``circumstances`` travel and cut are taken; what the player noted stays.
        """
        self._connection.execute(
            sa.update(t.attempts)
            .where(t.attempts.c.id == attempt.id)
            .values(
                verdict=dict(verdict),
                offset_along_mm=offsets_mm[0],
                offset_across_mm=offsets_mm[1],
                travel_mm=circumstances.travel_mm,
                cut_deg=circumstances.cut_deg,
            )
        )

    def set_intent(
        self, document: Mapping[str, Any], *, before_reading_id: int, state: str = "pending"
    ) -> IntentRecord:
        """An intent from that reading's layout; one that was pending is withdrawn."""
        if state == "pending":
            self.withdraw_intent()
        number = self._insert(
            t.intents,
            set_at=self._now,
            before_reading_id=before_reading_id,
            state=state,
            document=dict(document),
        )
        return IntentRecord(
            id=number,
            set_at=self._now,
            before_reading_id=before_reading_id,
            state=state,
            document=document,
        )

    def withdraw_intent(self) -> bool:
        """Whether an intent was pending; it is no longer."""
        done = self._connection.execute(
            sa.update(t.intents).where(t.intents.c.state == "pending").values(state="withdrawn")
        )
        return done.rowcount > 0

    def add_attempt(
        self,
        intent: IntentRecord,
        *,
        before: ReadingRecord,
        after: ReadingRecord,
        verdict: Mapping[str, Any],
        judged_by: JudgedBy,
        offsets_mm: tuple[float | None, float | None] = (None, None),
        circumstances: Circumstances | None = None,
    ) -> AttemptRecord:
        """A compared shot; its intent is spent. ``offsets_mm`` as in ``Score``: along, across."""
        around = circumstances or Circumstances()
        self._connection.execute(
            sa.update(t.intents).where(t.intents.c.id == intent.id).values(state="scored")
        )
        number = self._insert(
            t.attempts,
            made_at=around.played_at or self._now,
            intent_id=intent.id,
            before_reading_id=before.id,
            after_reading_id=after.id,
            verdict=dict(verdict),
            offset_along_mm=offsets_mm[0],
            offset_across_mm=offsets_mm[1],
            in_a_row=around.in_a_row,
            player=dict(judged_by.settings),
            player_source=judged_by.source,
            **around.kind(),
        )
        return self.attempt(number)

    def set_note(self, number: int, noted: Circumstances) -> AttemptRecord:
        """The player's note on an attempt, in place of an earlier one; NotFoundError without it.

        Rails that a drawn route tells stay where the note counts none.
        """
        self.attempt(number)
        values: dict[str, Any] = {
            "spin": noted.spin,
            "side_spin": noted.side_spin,
            "in_a_row": noted.in_a_row,
        }
        if noted.rails is not None:
            values["rails"] = noted.rails
        self._connection.execute(
            sa.update(t.attempts).where(t.attempts.c.id == number).values(**values)
        )
        return self.attempt(number)

    def add_receipt(self, key: str, fingerprint: str, body: Mapping[str, Any]) -> None:
        """Remember the answer given under an idempotency key."""
        self._connection.execute(
            sa.insert(t.receipts).values(
                key=key, fingerprint=fingerprint, given_at=self._now, body=dict(body)
            )
        )

    def _insert(self, table: sa.Table, **values: Any) -> int:
        done = self._connection.execute(sa.insert(table).values(**values))
        key = done.inserted_primary_key
        if key is None:
            raise RuntimeError(f"{table.name}: the database gave no number for a new row")
        return int(key[0])
