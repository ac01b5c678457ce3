"""What belongs to a reading: its table, and the zone or the verdict that go with it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.position import Intent, LandingZone, Verdict, landing_zone
from service.store import AttemptRecord, IntentRecord, Reader, ReadingRecord

from .following.told import came_from_mm
from .judging import judged
from .practising.lying import at_now
from .practising.pending import waits_said, wanted_of
from .stored import calibration_behind, player_now, player_of
from .verdicts import verdict_of


def landing_zone_of(reader: Reader, before: ReadingRecord, intent: Intent) -> LandingZone:
    """The landing zone of ``intent`` on the layout of ``before``, for the player that holds."""
    table = calibration_behind(reader, before).table
    return landing_zone(before.layout, intent, table, player=player_now(reader, before.table_id))


def zone_of(reader: Reader, record: IntentRecord) -> LandingZone:
    """The landing zone of a stored intent on the layout that it is for."""
    before = reader.reading(record.before_reading_id)
    wanted = wanted_of(record)
    if wanted is not None:
        before = replace(before, layout=wanted)
    return landing_zone_of(reader, before, Intent.from_dict(record.document))


def why_waiting(reader: Reader, record: IntentRecord) -> str | None:
    """Why a pending intent waits for its layout, as a sentence; None where it can be played."""
    at = at_now(reader, record.table_id)
    return None if at is None else waits_said(record, at)


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
    waits: str | None = None
    """Why the pending intent waits for its layout; None where its shot can be played."""
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
        pending = reader.pending_intent(reading.table_id)
        if pending is None or not reading.live or reading.id < pending.before_reading_id:
            return bare
        waits = why_waiting(reader, pending)
        if waits is not None:
            return replace(bare, intent=pending, waits=waits)
        before = reader.reading(pending.before_reading_id)
        intent = Intent.from_dict(pending.document)
        try:
            intent.check_on(before.layout, calibration.table)
            zone = landing_zone_of(reader, before, intent)
        except RestmarkError as refusal:
            return replace(bare, intent=pending, refusal=refusal.detail)
        return replace(bare, intent=pending, zone=zone)

    @classmethod
    def of_attempt(cls, reader: Reader, attempt: AttemptRecord) -> Scene:
        """The scene that an attempt ended in, also where another attempt ends in it too."""
        bare = cls(calibration=calibration_behind(reader, attempt.after), reading=attempt.after)
        return bare._with_attempt(attempt)

    def _with_attempt(self, attempt: AttemptRecord) -> Scene:
        """The verdict as stored; zone and line, which are not, by the attempt's own settings."""
        told = replace(self, intent=attempt.intent, attempt=attempt)
        stored = verdict_of(attempt)
        try:
            again = judged(
                attempt.before.layout,
                attempt.after.layout,
                Intent.from_dict(attempt.intent.document),
                self.table,
                player=player_of(attempt.judged_by.settings, path=f"attempts[{attempt.id}].player"),
                seen_from_mm=came_from_mm(attempt.after.outcome),
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
