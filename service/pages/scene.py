"""What there is to draw of a reading: its table, and the zone or the verdict that go with it."""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass

from calibration.errors import RestmarkError
from calibration.files import Calibration
from calibration.table import Table
from service.drawing import top_view_svg
from service.position import Intent, LandingZone, Verdict, landing_zone, score_shot
from service.store import (
    AttemptRecord,
    CalibrationRecord,
    IntentRecord,
    Reader,
    ReadingRecord,
    StoreError,
)


@functools.lru_cache(maxsize=8)
def _parsed(document: str) -> Calibration:
    return Calibration.from_dict(json.loads(document), path="calibration")


def calibration_of(record: CalibrationRecord) -> Calibration:
    """The calibration that a stored document holds."""
    return _parsed(json.dumps(record.document, sort_keys=True))


def table_of(reader: Reader, reading: ReadingRecord) -> Table:
    """The table that ``reading`` was made on."""
    calibration = reader.calibration(reading.calibration_id)
    if calibration is None:
        raise StoreError(
            f"reading {reading.id}: its calibration {reading.calibration_id} is gone; "
            "allowed: a whole database. Put restmark.db back from your copy."
        )
    return calibration_of(calibration).table


def landing_zone_of(reader: Reader, before: ReadingRecord, intent: Intent) -> LandingZone:
    """The landing zone of ``intent`` on the layout of ``before``."""
    return landing_zone(before.layout, intent, table_of(reader, before))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A reading with all that belongs in its picture."""

    table: Table
    reading: ReadingRecord
    intent: IntentRecord | None = None
    """The one that is pending from this layout, or the one that this reading answered."""
    zone: LandingZone | None = None
    attempt: AttemptRecord | None = None
    verdict: Verdict | None = None

    @classmethod
    def of(cls, reader: Reader, reading: ReadingRecord) -> Scene:
        """The scene of ``reading``, worked out again from what is stored."""
        table = table_of(reader, reading)
        attempt = reader.attempt_after(reading.id)
        if attempt is not None:
            verdict = _verdict_again(attempt, table)
            return cls(
                table=table,
                reading=reading,
                intent=attempt.intent,
                zone=verdict.zone if verdict else None,
                attempt=attempt,
                verdict=verdict,
            )
        pending = reader.pending_intent()
        if pending is None or reading.id < pending.before_reading_id:
            return cls(table=table, reading=reading)
        before = reader.reading(pending.before_reading_id)
        zone = landing_zone_of(reader, before, Intent.from_dict(pending.document))
        return cls(table=table, reading=reading, intent=pending, zone=zone)

    def svg(self, *, width_px: int = 960) -> str:
        """The top view as an <svg> element."""
        return top_view_svg(
            self.table,
            self.reading.layout,
            before=self.attempt.before.layout if self.attempt else None,
            verdict=self.verdict,
            zone=self.zone,
            width_px=width_px,
        )


def _verdict_again(attempt: AttemptRecord, table: Table) -> Verdict | None:
    """The verdict with its zone and line; the stored figures stand where it cannot be had."""
    try:
        return score_shot(
            attempt.before.layout,
            attempt.after.layout,
            Intent.from_dict(attempt.intent.document),
            table,
        )
    except RestmarkError:
        return None
