"""What a still meets when its turn comes."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.table import Table
from service.desk.practising.pending import At, is_playable
from service.desk.refusals import no_calibration
from service.desk.stored import calibration_of, player_now
from service.position import Player
from service.store import CalibrationRecord, IntentRecord, Reader, ReadingRecord

from .chains import Chains


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """What a still meets."""

    calibration: CalibrationRecord
    at: At
    previous: ReadingRecord | None
    intent: IntentRecord | None
    """The one that is pending, whether it can be played or waits."""
    before: ReadingRecord | None
    """The reading that it is played from; None where it waits, or there is none."""

    @classmethod
    def now(cls, reader: Reader, chains: Chains, table_id: int) -> Met:
        """As things stand.

        Raises:
            NotFoundError: there is no such table.
            DeskError: no calibration is set.
        """
        reader.table(table_id)
        calibration = reader.calibration(table_id=table_id)
        if calibration is None:
            raise no_calibration(table_id)
        at = At.of(table_id, chains.at(reader, calibration), player_now(reader, table_id))
        intent = reader.pending_intent(table_id)
        playable = intent is not None and is_playable(intent, at)
        return cls(
            calibration=calibration,
            at=at,
            previous=reader.latest_comparable(calibration.id),
            intent=intent,
            before=reader.reading(intent.before_reading_id) if intent and playable else None,
        )

    @property
    def table(self) -> Table:
        """The table as it was calibrated."""
        return calibration_of(self.calibration).table

    @property
    def player(self) -> Player | None:
        """None: nobody gave settings, and the starting values hold."""
        return self.at.player
