"""Intents and attempts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from .. import tables as t
from ..plain import plain_columns
from ..records import (
    AttemptRecord,
    Circumstances,
    IntentRecord,
    JudgedBy,
    ReadingRecord,
)
from .seen import WritingSeen


class WritingPlayed(WritingSeen):
    """Changes to intents and attempts."""

    def set_intent(
        self,
        document: Mapping[str, Any],
        *,
        before_reading_id: int,
        state: str = "pending",
        practice_id: int | None = None,
        waits_for: Mapping[str, Any] | None = None,
        given_by: str = "person",
        place: int | None = None,
        player_id: int | None = None,
        set_at: datetime | None = None,
    ) -> IntentRecord:
        """An intent from that reading's layout; one that was pending at its table is withdrawn.

        It is of whoever plays at that table now (``player_id`` None), and of that practice;
        ``place`` says which of its plan's shots it is. ``set_at`` None: now.
        """
        table_id = self.reading(before_reading_id).table_id
        player_id = self.table(table_id).player_id if player_id is None else player_id
        set_at = self._now if set_at is None else set_at
        if state == "pending":
            self.withdraw_intent(table_id)
        number = self._insert(
            t.intents,
            table_id=table_id,
            player_id=player_id,
            practice_id=practice_id,
            set_at=set_at,
            before_reading_id=before_reading_id,
            state=state,
            document=dict(document),
            waits_for=None if waits_for is None else dict(waits_for),
            given_by=given_by,
            place=place,
        )
        return IntentRecord(
            id=number,
            table_id=table_id,
            player_id=player_id,
            practice_id=practice_id,
            set_at=set_at,
            before_reading_id=before_reading_id,
            state=state,
            document=document,
            waits_for=waits_for,
            given_by=given_by,
            place=place,
        )

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
        set_up: Mapping[str, Any] | None = None,
    ) -> AttemptRecord:
        """A compared shot; its intent is spent, and gives it table, player and practice.

        ``offsets_mm``: stop against the wanted spot, along and across. ``set_up``: how far off
        the balls lay.
        """
        around = circumstances or Circumstances()
        self._change(t.intents, intent.id, state="scored")
        number = self._insert(
            t.attempts,
            table_id=intent.table_id,
            player_id=intent.player_id,
            practice_id=intent.practice_id,
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
            set_up=None if set_up is None else dict(set_up),
            **around.kind(),
            **plain_columns(verdict, intent.document, offsets_mm=offsets_mm),
        )
        return self.attempt(number)

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
        self._change(
            t.attempts,
            attempt.id,
            verdict=dict(verdict),
            offset_along_mm=offsets_mm[0],
            offset_across_mm=offsets_mm[1],
            travel_mm=circumstances.travel_mm,
            cut_deg=circumstances.cut_deg,
            **plain_columns(verdict, attempt.intent.document, offsets_mm=offsets_mm),
        )

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
        self._change(t.attempts, number, **values)
        return self.attempt(number)

    def strike_attempt(self, number: int) -> AttemptRecord:
        """It counts no longer; what was struck before stays so. NotFoundError without it."""
        if self.attempt(number).struck_at is None:
            self._change(t.attempts, number, struck_at=self._now)
        return self.attempt(number)

    def restore_attempt(self, number: int) -> AttemptRecord:
        """It counts again; NotFoundError without it."""
        self.attempt(number)
        self._change(t.attempts, number, struck_at=None)
        return self.attempt(number)
