"""Practices, plans, kept layouts, changes by hand, events, receipts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from vision.layout import Layout

from .. import tables as t
from ..records import (
    FIRST,
    ChangeRecord,
    EventRecord,
    LayoutRecord,
    PlanRecord,
    PracticeRecord,
)
from .base import Writing

EVENTS_KEPT = 10_000
"""So many events can be replayed; older ones go."""


class WritingKept(Writing):
    """Changes to what is kept beside stills and attempts."""

    def begin_practice(
        self,
        way: Mapping[str, Any],
        *,
        title: str = "",
        plan_id: int | None = None,
        table_id: int = FIRST,
    ) -> PracticeRecord:
        """A practice of whoever plays at that table now; one that was open there is finished."""
        player_id = self.table(table_id).player_id
        if plan_id is not None:
            self.plan(plan_id)
        was = self.open_practice(table_id)
        if was is not None:
            self.finish_practice(was.id)
        number = self._insert(
            t.practices,
            table_id=table_id,
            player_id=player_id,
            began_at=self._now,
            title=title,
            way=dict(way),
            plan_id=plan_id,
        )
        return self.practice(number)

    def finish_practice(self, number: int) -> PracticeRecord:
        """It is no longer open; a finished one stays as it was. NotFoundError without it."""
        if self.practice(number).finished_at is None:
            self._change(t.practices, number, finished_at=self._now)
        return self.practice(number)

    def change_practice(
        self, number: int, *, title: str | None = None, way: Mapping[str, Any] | None = None
    ) -> PracticeRecord:
        """Another title or way; None leaves it. NotFoundError without it."""
        held = self.practice(number)
        self._change(
            t.practices,
            number,
            title=held.title if title is None else title,
            way=dict(held.way if way is None else way),
        )
        return self.practice(number)

    def put_skipped(self, number: int, places: Sequence[int]) -> PracticeRecord:
        """Those of its plan's shots are not to be played. NotFoundError without it."""
        self.practice(number)
        self._change(t.practices, number, skipped=list(places) or None)
        return self.practice(number)

    def add_plan(self, title: str, document: Mapping[str, Any]) -> PlanRecord:
        """A plan to play again."""
        number = self._insert(
            t.plans,
            title=title,
            made_at=self._now,
            changed_at=self._now,
            document=dict(document),
        )
        return self.plan(number)

    def change_plan(
        self, number: int, *, title: str | None = None, document: Mapping[str, Any] | None = None
    ) -> PlanRecord:
        """Another title or content; None leaves it. NotFoundError without it."""
        held = self.plan(number)
        self._change(
            t.plans,
            number,
            changed_at=self._now,
            title=held.title if title is None else title,
            document=dict(held.document if document is None else document),
        )
        return self.plan(number)

    def strike_plan(self, number: int, *, restore: bool = False) -> PlanRecord:
        """It is listed no longer, or again; NotFoundError without it."""
        self.plan(number)
        self._change(t.plans, number, struck_at=None if restore else self._now)
        return self.plan(number)

    def add_layout(
        self,
        layout: Layout,
        *,
        title: str,
        note: str = "",
        tags: Iterable[str] = (),
        reading_id: int | None = None,
        intent: Mapping[str, Any] | None = None,
    ) -> LayoutRecord:
        """A layout to set up again, and the shot that is played from it."""
        if reading_id is not None:
            self.reading(reading_id)
        number = self._insert(
            t.layouts,
            title=title,
            note=note,
            made_at=self._now,
            changed_at=self._now,
            reading_id=reading_id,
            layout=_with_intent(layout, intent),
        )
        self._tag(number, tags)
        return self.layout(number)

    def change_layout(
        self,
        number: int,
        *,
        title: str | None = None,
        note: str | None = None,
        tags: Iterable[str] | None = None,
        layout: Layout | None = None,
        intent: Mapping[str, Any] | None = None,
        drop_intent: bool = False,
    ) -> LayoutRecord:
        """Other words, tags, balls or shot; None leaves them. NotFoundError without it."""
        held = self.layout(number)
        self._change(
            t.layouts,
            number,
            changed_at=self._now,
            title=held.title if title is None else title,
            note=held.note if note is None else note,
            layout=_with_intent(
                held.layout if layout is None else layout,
                None if drop_intent else held.intent if intent is None else intent,
            ),
        )
        if tags is not None:
            self._connection.execute(
                sa.delete(t.layout_tags).where(t.layout_tags.c.layout_id == number)
            )
            self._tag(number, tags)
        return self.layout(number)

    def strike_layout(self, number: int, *, restore: bool = False) -> LayoutRecord:
        """It is listed no longer, or again; NotFoundError without it."""
        self.layout(number)
        self._change(t.layouts, number, struck_at=None if restore else self._now)
        return self.layout(number)

    def add_change(
        self,
        kind: str,
        *,
        table_id: int = FIRST,
        attempt_id: int | None = None,
        before: Mapping[str, Any] | None = None,
        after: Mapping[str, Any] | None = None,
    ) -> ChangeRecord:
        """A change by hand, with what undoing it needs."""
        number = self._insert(
            t.changes,
            at=self._now,
            table_id=table_id,
            kind=kind,
            attempt_id=attempt_id,
            before=None if before is None else dict(before),
            after=None if after is None else dict(after),
        )
        return ChangeRecord(
            id=number,
            at=self._now,
            table_id=table_id,
            kind=kind,
            attempt_id=attempt_id,
            before=before,
            after=after,
        )

    def mark_undone(self, change_id: int, *, undone: bool = True) -> None:
        """The change of that number holds no longer, or again."""
        self._change(t.changes, change_id, undone_at=self._now if undone else None)

    def add_event(
        self, kind: str, ids: Mapping[str, int | None], *, table_id: int | None = None
    ) -> EventRecord:
        """Something that listeners are told; the oldest beyond ``EVENTS_KEPT`` go."""
        number = self._insert(t.events, at=self._now, table_id=table_id, kind=kind, ids=dict(ids))
        self._connection.execute(sa.delete(t.events).where(t.events.c.id <= number - EVENTS_KEPT))
        return EventRecord(id=number, at=self._now, table_id=table_id, kind=kind, ids=ids)

    def tell(self, kind: str, *, table_id: int | None = None, **ids: int | None) -> EventRecord:
        """Keep an event together with the change it tells of; listeners are woken after both."""
        self.has_told = True
        return self.add_event(kind, ids, table_id=table_id)

    def add_receipt(self, key: str, fingerprint: str, body: Mapping[str, Any]) -> None:
        """Remember the answer given under an idempotency key."""
        self._connection.execute(
            sa.insert(t.receipts).values(
                key=key, fingerprint=fingerprint, given_at=self._now, body=dict(body)
            )
        )

    def _tag(self, number: int, tags: Iterable[str]) -> None:
        for tag in sorted(set(tags)):
            self._connection.execute(sa.insert(t.layout_tags).values(layout_id=number, tag=tag))


def _with_intent(layout: Layout, intent: Mapping[str, Any] | None) -> dict[str, Any]:
    """One cell for both: the shot belongs to the balls."""
    return layout.to_dict() | ({} if intent is None else {"intent": dict(intent)})
