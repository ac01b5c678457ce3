"""Stills and readings, and their names put right."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from importlib.metadata import version
from typing import Any

import sqlalchemy as sa

from vision.layout import Layout

from .. import tables as t
from ..asking.known import KnownCalibrations
from ..files import StillFiles, media_type_of
from ..records import (
    FIRST,
    POSTED,
    CorrectionRecord,
    ReadBy,
    ReadingRecord,
    StillRecord,
    StoreError,
)
from .places import WritingPlaces


class WritingSeen(WritingPlaces):
    """Changes to stills and readings; files come to be and go with the transaction."""

    def __init__(
        self,
        connection: sa.Connection,
        files: StillFiles,
        now: datetime,
        known: KnownCalibrations | None = None,
    ) -> None:
        super().__init__(connection, files, now, known)
        self._new_files: list[str] = []
        self._stills: list[tuple[str, int]] = []
        self._undone: list[Callable[[], None]] = []

    def when_taken_back(self, undo: Callable[[], None]) -> None:
        """Have ``undo`` called where this transaction does not come to be."""
        self._undone.append(undo)

    def take_back_files(self) -> None:
        """Remove the files that this transaction wrote and now has no rows for."""
        for sha256 in self._new_files:
            self._files.remove(sha256)
        for undo in self._undone:
            undo()

    def check_files(self) -> None:
        """Refuse before the commit where a still of this transaction is not on disk.

        Raises:
            StoreError: one is gone.
        """
        for sha256, size_bytes in self._stills:
            if not self._files.has_size(sha256, size_bytes):
                raise StoreError(
                    f"still {sha256[:12]}…: its file is gone again; allowed: a data directory that "
                    "nobody takes away. Put it back and start again."
                )

    def add_still(
        self, data: bytes, *, name: str, table_id: int = FIRST, source: str = POSTED
    ) -> StillRecord:
        """The bytes on disk and their row; the same bytes twice share one file."""
        self.table(table_id)
        sha256, is_new = self._files.write(data)
        if is_new:
            self._new_files.append(sha256)
        self._stills.append((sha256, len(data)))
        still = StillRecord(
            id=0,
            table_id=table_id,
            source=source,
            received_at=self._now,
            name=name,
            media_type=media_type_of(data),
            sha256=sha256,
            size_bytes=len(data),
        )
        number = self._insert(
            t.stills,
            table_id=table_id,
            source=source,
            received_at=still.received_at,
            name=name,
            media_type=still.media_type,
            sha256=sha256,
            size_bytes=still.size_bytes,
        )
        return replace(still, id=number)

    def add_reading(
        self,
        still: StillRecord,
        layout: Layout,
        *,
        calibration_id: int,
        took_ms: float,
        comparison: Mapping[str, Any] | None = None,
        live: bool = True,
        outcome: Mapping[str, Any] | None = None,
        set_id: int | None = None,
        weights: str | None = None,
    ) -> ReadingRecord:
        """What was read in ``still``; a still read again keeps its earlier readings.

        ``live``: the still was taken now at its table. ``weights`` names the networks used.
        """
        read_by = ReadBy(set_id=set_id, weights=weights, software=version("restmark"))
        number = self._insert(
            t.readings,
            still_id=still.id,
            table_id=still.table_id,
            live=live,
            calibration_id=calibration_id,
            read_at=self._now,
            took_ms=took_ms,
            comparable=layout.settled and not layout.obstructed,
            layout=layout.to_dict(),
            comparison=comparison,
            outcome=outcome,
            set_id=set_id,
            weights=weights,
            software=read_by.software,
        )
        return ReadingRecord(
            id=number,
            still=still,
            calibration_id=calibration_id,
            read_at=self._now,
            took_ms=took_ms,
            layout=layout,
            comparison=comparison,
            table_id=still.table_id,
            live=live,
            outcome=outcome,
            read_by=read_by,
        )

    def set_outcome(self, reading_id: int, outcome: Mapping[str, Any] | None) -> None:
        """What happened before the reading of that number, as it is understood now."""
        self._change(t.readings, reading_id, outcome=outcome)

    def correct_reading(
        self, reading: ReadingRecord, layout: Layout, names: Sequence[Mapping[str, Any]]
    ) -> ReadingRecord:
        """The reading with its layout's names put right; what it was before is kept."""
        ball_set = self.ball_set(reading.table_id)
        self._insert(
            t.corrections,
            made_at=self._now,
            reading_id=reading.id,
            set_id=ball_set.id if ball_set else None,
            names=[dict(item) for item in names],
            layout_before=reading.layout.to_dict(),
        )
        self._change(t.readings, reading.id, layout=layout.to_dict())
        return replace(reading, layout=layout)

    def take_back(self, correction: CorrectionRecord) -> ReadingRecord:
        """The correction's reading as it was before; no later correction may stand on it."""
        self._connection.execute(
            sa.delete(t.corrections).where(t.corrections.c.id == correction.id)
        )
        self._change(t.readings, correction.reading_id, layout=correction.layout_before.to_dict())
        return self.reading(correction.reading_id)
