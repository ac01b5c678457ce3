"""What belongs to a reading: its table, and the zone or the verdict that go with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.position import Intent, LandingZone, Verdict, landing_zone, score_shot
from service.store import AttemptRecord, IntentRecord, Reader, ReadingRecord

from .stored import calibration_behind, player_now, player_of
from .verdicts import verdict_of


def landing_zone_of(reader: Reader, before: ReadingRecord, intent: Intent) -> LandingZone:
    """The landing zone of ``intent`` on the layout of ``before``, for the player that holds."""
    table = calibration_behind(reader, before).table
    return landing_zone(before.layout, intent, table, player=player_now(reader))


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
    differs: str | None = None
    """What the verdict would be now, where that is another than the stored one."""

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
        """The verdict as stored; zone and line, which are not, by the attempt's own settings."""
        told = replace(self, intent=attempt.intent, attempt=attempt)
        stored = verdict_of(attempt)
        try:
            again = score_shot(
                attempt.before.layout,
                attempt.after.layout,
                Intent.from_dict(attempt.intent.document),
                self.table,
                player=player_of(attempt.judged_by.settings, path=f"attempts[{attempt.id}].player"),
            )
        except RestmarkError as refusal:
            return replace(told, refusal=refusal.detail)
        return replace(
            told,
            zone=again.zone,
            verdict=replace(
                stored, zone=again.zone, left=again.left, arrival_line_mm=again.arrival_line_mm
            ),
            differs=None if again.verdict == stored.verdict else again.verdict,
        )
