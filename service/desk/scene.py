"""What belongs to a reading: its table, and the zone or the verdict that go with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.position import Intent, LandingZone, Verdict, landing_zone, score_shot
from service.store import AttemptRecord, IntentRecord, Reader, ReadingRecord

from .stored import calibration_behind


def landing_zone_of(reader: Reader, before: ReadingRecord, intent: Intent) -> LandingZone:
    """The landing zone of ``intent`` on the layout of ``before``."""
    return landing_zone(before.layout, intent, calibration_behind(reader, before).table)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A reading with all that is shown beside it."""

    calibration: Calibration
    reading: ReadingRecord
    intent: IntentRecord | None = None
    """The one that is pending from this layout, or the one that this reading answered."""
    zone: LandingZone | None = None
    attempt: AttemptRecord | None = None
    verdict: Verdict | None = None
    refusal: str = ""
    """Why zone or verdict cannot be had, as after names were put right."""

    @property
    def table(self) -> Table:
        """The table that the reading was made on."""
        return self.calibration.table

    @classmethod
    def of(cls, reader: Reader, reading: ReadingRecord) -> Scene:
        """The scene of ``reading``, worked out again from what is stored."""
        calibration = calibration_behind(reader, reading)
        bare = cls(calibration=calibration, reading=reading)
        attempt = reader.attempt_after(reading.id)
        if attempt is not None:
            return bare._with_attempt(attempt)
        pending = reader.pending_intent()
        if pending is None or reading.id < pending.before_reading_id:
            return bare
        before = reader.reading(pending.before_reading_id)
        intent = Intent.from_dict(pending.document)
        try:
            intent.check_on(before.layout, calibration.table)
            zone = landing_zone_of(reader, before, intent)
        except RestmarkError as refusal:
            return replace(bare, intent=pending, refusal=refusal.detail)
        return replace(bare, intent=pending, zone=zone)

    def _with_attempt(self, attempt: AttemptRecord) -> Scene:
        """With the verdict's zone and line; the stored figures stand where it cannot be had."""
        told = replace(self, intent=attempt.intent, attempt=attempt)
        try:
            verdict = score_shot(
                attempt.before.layout,
                attempt.after.layout,
                Intent.from_dict(attempt.intent.document),
                self.table,
            )
        except RestmarkError as refusal:
            return replace(told, refusal=refusal.detail)
        return replace(told, zone=verdict.zone, verdict=verdict)
