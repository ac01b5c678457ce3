"""A kept still read again, with the calibration and the ball set that hold now."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from service.desk.names.known_set import KnownSet
from service.desk.readers import InReadingTurn, ReadStill, at_table, weights_of
from service.desk.refusals import no_calibration, no_still
from service.desk.stored import calibration_of
from service.store import (
    OVERHEAD,
    CalibrationRecord,
    NotFoundError,
    Reader,
    ReadingRecord,
    StillRecord,
    Store,
)
from vision.layout import CameraPart

from .joining import joined
from .upload import Moment, Upload


class Rereading:
    """Reads stills again, in their table's turn; a new reading stands beside the old ones."""

    def __init__(
        self,
        store: Store,
        read: ReadStill,
        known: Callable[[int], KnownSet],
        *,
        in_turn: InReadingTurn,
    ) -> None:
        """``read`` reads each still by itself; ``known`` and ``in_turn`` as where stills are
        taken."""
        self._store = store
        self._read = read
        self._known = known
        self._in_turn = in_turn

    def reread(self, still_id: int, calibration_id: int | None = None) -> ReadingRecord:
        """The new reading; it is not live, so that nothing of the table follows from it.

        A moment of several cameras is read again whole. ``calibration_id`` names one of the
        still's own table, of its overhead camera; None: the one that holds now.

        Raises:
            NotFoundError: no such still, or no such calibration of its table.
            DeskError: the table has no calibration.
            StillError, CalibrationError: it cannot be read so.
        """
        with self._store.reading() as reader:
            still = reader.still(still_id)
            calibration = _calibration(reader, still, calibration_id)
            earlier = reader.readings(limit=1, still_id=still_id)
            held = reader.calibrations_held(still.table_id)
        known = self._known(still.table_id)
        data = self._store.files.read(still.sha256)
        started = time.perf_counter()
        parts = earlier[0].layout.cameras if earlier else ()
        read = at_table(self._read, still.table_id)
        if parts:
            held[OVERHEAD] = calibration
            moment = self._moment(still, parts)
            layout = self._in_turn(
                partial(joined, read, moment, held, previous=None, taught=known.taught)
            )
        else:
            made = calibration_of(calibration)
            layout = self._in_turn(partial(read, data, made, name=still.name, taught=known.taught))
        took_ms = round((time.perf_counter() - started) * 1000, 1)
        # whoever sent it said whether balls rolled: the picture cannot
        settled = layout.settled and all(reading.layout.settled for reading in earlier)
        with self._store.writing() as writer:
            reading = writer.add_reading(
                still,
                replace(layout, settled=settled),
                calibration_id=calibration.id,
                took_ms=took_ms,
                live=False,
                set_id=known.set_id,
                weights=weights_of(self._read),
            )
            writer.tell("reading", table_id=still.table_id, reading_id=reading.id, attempt_id=None)
        return reading

    def _moment(self, still: StillRecord, parts: Sequence[CameraPart]) -> Moment:
        """The stills of a joined reading, from their files."""
        uploads = tuple(
            Upload(
                data=self._store.files.read(part.sha256),
                name=still.name if part.sha256 == still.sha256 else part.still,
                table_id=still.table_id,
                camera=part.camera,
            )
            for part in parts
            if part.sha256
        )
        away = {part.camera: no_still(part.camera) for part in parts if not part.sha256}
        return Moment(uploads=uploads, away=away)


def _calibration(
    reader: Reader, still: StillRecord, calibration_id: int | None
) -> CalibrationRecord:
    if calibration_id is None:
        held = reader.calibration(table_id=still.table_id)
        if held is None:
            raise no_calibration()
        return held
    named = reader.calibration(calibration_id)
    if named is None or named.table_id != still.table_id:
        place = f"/api/v1/calibrations?table={still.table_id}"
        raise NotFoundError.of("calibration", calibration_id, place)
    return named
