"""Intents that wait and go on, and rows put back as they were before a change by hand."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from vision.layout import Layout

from .. import tables as t
from ..plain import plain_columns
from ..records import AttemptRecord, Circumstances, CorrectionRecord
from .base import Writing


class WritingFollowing(Writing):
    """Changes while a table is followed, and their undoing."""

    def move_intent(self, intent_id: int, *, before_reading_id: int) -> None:
        """Its shot is played from that reading's layout now."""
        self._change(t.intents, intent_id, before_reading_id=before_reading_id)

    def let_wait(self, intent_id: int, layout: Mapping[str, Any]) -> None:
        """It waits until that layout lies there."""
        self._change(t.intents, intent_id, waits_for=dict(layout))

    def put_intent(
        self,
        intent_id: int,
        *,
        state: str,
        before_reading_id: int,
        waits_for: Mapping[str, Any] | None,
    ) -> None:
        """An intent as it was."""
        self._change(
            t.intents,
            intent_id,
            state=state,
            before_reading_id=before_reading_id,
            waits_for=None if waits_for is None else dict(waits_for),
        )

    def put_set_up(self, attempt_id: int, set_up: Mapping[str, Any] | None) -> None:
        """How far off the balls lay when an attempt began."""
        self._change(t.attempts, attempt_id, set_up=None if set_up is None else dict(set_up))

    def put_intent_state(self, intent_id: int, state: str) -> None:
        """``pending``, ``scored`` or ``withdrawn``; at most one a table may be pending."""
        self._change(t.intents, intent_id, state=state)

    def set_comparison(self, reading_id: int, said: Mapping[str, Any] | None) -> None:
        """What a reading says of its comparison."""
        self._change(t.readings, reading_id, comparison=None if said is None else dict(said))

    def put_live(self, reading_ids: Collection[int], *, live: bool) -> None:
        """Those readings belong to what lies on their table now, or are put aside."""
        self._connection.execute(
            sa.update(t.readings).where(t.readings.c.id.in_(reading_ids)).values(live=live)
        )

    def put_struck(self, attempt_id: int, at: datetime | None) -> None:
        """When an attempt was struck; None: it counts."""
        self._change(t.attempts, attempt_id, struck_at=at)

    def put_note(self, attempt_id: int, noted: Circumstances) -> None:
        """The player's note, with the rails exactly as they are given."""
        self._change(
            t.attempts,
            attempt_id,
            spin=noted.spin,
            side_spin=noted.side_spin,
            rails=noted.rails,
            in_a_row=noted.in_a_row,
        )

    def put_verdict(self, attempt: AttemptRecord, values: Mapping[str, Any]) -> None:
        """An attempt's verdict, offsets, travel and cut as they were; plain columns follow."""
        offsets = (values["offset_along_mm"], values["offset_across_mm"])
        self._change(
            t.attempts,
            attempt.id,
            **values,
            **plain_columns(values["verdict"], attempt.intent.document, offsets_mm=offsets),
        )

    def put_layout(self, reading_id: int, layout: Layout) -> None:
        """A reading's layout as it was."""
        self._change(t.readings, reading_id, layout=layout.to_dict())

    def put_correction(self, correction: CorrectionRecord, set_id: int | None) -> None:
        """What was said of a reading's names, said again under its number."""
        self._insert(
            t.corrections,
            id=correction.id,
            made_at=correction.made_at,
            reading_id=correction.reading_id,
            set_id=set_id,
            names=[dict(name) for name in correction.names],
            layout_before=correction.layout_before.to_dict(),
        )

    def drop_correction(self, correction_id: int) -> None:
        """What was said of a reading's names is said no longer."""
        self._connection.execute(
            sa.delete(t.corrections).where(t.corrections.c.id == correction_id)
        )
