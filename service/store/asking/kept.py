"""Practices, plans, kept layouts, changes by hand, events, receipts."""

from __future__ import annotations

from collections.abc import Collection

import sqlalchemy as sa

from .. import tables as t
from ..records import (
    FIRST,
    ChangeRecord,
    EventRecord,
    LayoutRecord,
    PlanRecord,
    PracticeRecord,
    Receipt,
)
from ..rows import kept_layout_of
from .base import Asking, struck_where


class AskingKept(Asking):
    """Questions about what is kept beside stills and attempts."""

    def practice(self, number: int) -> PracticeRecord:
        """The practice of that number; NotFoundError where there is none."""
        query = sa.select(t.practices).where(t.practices.c.id == number)
        row = self._one(query, number, "practice", "the list of practices")
        return PracticeRecord(**row._asdict())

    def open_practice(self, table_id: int = FIRST) -> PracticeRecord | None:
        """The practice that is open at that table."""
        row = self._connection.execute(
            sa.select(t.practices).where(
                t.practices.c.finished_at.is_(None), t.practices.c.table_id == table_id
            )
        ).one_or_none()
        return PracticeRecord(**row._asdict()) if row else None

    def practices(
        self,
        *,
        limit: int,
        before: int | None = None,
        table_id: int | None = None,
        player_id: int | None = None,
    ) -> tuple[PracticeRecord, ...]:
        """Newest first, at most ``limit``; None: at every table, of every player."""
        rows = self._newest_first(
            sa.select(t.practices),
            t.practices,
            limit=limit,
            before=before,
            table_id=table_id,
            player_id=player_id,
        )
        return tuple(PracticeRecord(**row._asdict()) for row in rows)

    def plan(self, number: int) -> PlanRecord:
        """The plan of that number, struck or not; NotFoundError where there is none."""
        query = sa.select(t.plans).where(t.plans.c.id == number)
        return PlanRecord(**self._one(query, number, "plan", "the list of plans")._asdict())

    def plans(
        self, *, limit: int, before: int | None = None, struck: bool | None = False
    ) -> tuple[PlanRecord, ...]:
        """Newest first, at most ``limit``; ``struck`` as of attempts."""
        query = sa.select(t.plans).where(struck_where(t.plans, struck))
        rows = self._newest_first(query, t.plans, limit=limit, before=before)
        return tuple(PlanRecord(**row._asdict()) for row in rows)

    def layout(self, number: int) -> LayoutRecord:
        """The kept layout of that number, struck or not; NotFoundError where there is none."""
        query = sa.select(t.layouts).where(t.layouts.c.id == number)
        row = self._one(query, number, "layout", "the list of layouts")
        return kept_layout_of(row, self._tags([number]).get(number, ()))

    def layouts(
        self,
        *,
        limit: int,
        before: int | None = None,
        words: str | None = None,
        tag: str | None = None,
        struck: bool | None = False,
    ) -> tuple[LayoutRecord, ...]:
        """Newest first, at most ``limit``; ``struck`` as of attempts.

        ``words`` must stand in title, note or a tag, each of them somewhere, large or small.
        """
        query = sa.select(t.layouts).where(struck_where(t.layouts, struck))
        tags = t.layout_tags.c
        if tag is not None:
            query = query.where(
                sa.exists().where(tags.layout_id == t.layouts.c.id, tags.tag == tag)
            )
        for word in (words or "").split():
            query = query.where(
                t.layouts.c.title.icontains(word, autoescape=True)
                | t.layouts.c.note.icontains(word, autoescape=True)
                | sa.exists().where(
                    tags.layout_id == t.layouts.c.id, tags.tag.icontains(word, autoescape=True)
                )
            )
        rows = self._newest_first(query, t.layouts, limit=limit, before=before).all()
        tagged = self._tags([row.id for row in rows])
        return tuple(kept_layout_of(row, tagged.get(row.id, ())) for row in rows)

    def tags(self) -> tuple[str, ...]:
        """Every tag that a layout has which is not struck, in the order of the alphabet."""
        query = sa.select(t.layout_tags.c.tag).distinct().join_from(t.layout_tags, t.layouts)
        query = query.where(struck_where(t.layouts, False)).order_by(t.layout_tags.c.tag)
        return tuple(self._connection.execute(query).scalars())

    def _tags(self, numbers: Collection[int]) -> dict[int, tuple[str, ...]]:
        found = self._connection.execute(
            sa.select(t.layout_tags)
            .where(t.layout_tags.c.layout_id.in_(numbers))
            .order_by(t.layout_tags.c.tag)
        )
        out: dict[int, tuple[str, ...]] = {}
        for row in found:
            out[row.layout_id] = (*out.get(row.layout_id, ()), row.tag)
        return out

    def changes(
        self,
        *,
        limit: int,
        before: int | None = None,
        table_id: int | None = None,
        undone: bool | None = False,
    ) -> tuple[ChangeRecord, ...]:
        """Changes by hand, newest first; ``undone``: False, those that hold; None, all."""
        query = sa.select(t.changes)
        if undone is not None:
            is_undone = t.changes.c.undone_at
            query = query.where(is_undone.is_not(None) if undone else is_undone.is_(None))
        rows = self._newest_first(query, t.changes, limit=limit, before=before, table_id=table_id)
        return tuple(ChangeRecord(**row._asdict()) for row in rows)

    def events(
        self, *, after: int, limit: int, table_id: int | None = None
    ) -> tuple[EventRecord, ...]:
        """Events numbered above ``after``, oldest first, at most ``limit``.

        ``table_id``: those of that table and those of none; None: all.
        """
        query = sa.select(t.events).where(t.events.c.id > after).order_by(t.events.c.id)
        if table_id is not None:
            told = t.events.c.table_id
            query = query.where((told == table_id) | told.is_(None))
        found = self._connection.execute(query.limit(limit))
        return tuple(EventRecord(**row._asdict()) for row in found)

    def event_numbers(self) -> tuple[int, int]:
        """Numbers of the oldest and the newest event kept; (0, 0) where there is none."""
        number = t.events.c.id
        row = self._connection.execute(sa.select(sa.func.min(number), sa.func.max(number))).one()
        return row[0] or 0, row[1] or 0

    def receipt(self, key: str) -> Receipt | None:
        """What was answered under that idempotency key."""
        row = self._connection.execute(
            sa.select(t.receipts).where(t.receipts.c.key == key)
        ).one_or_none()
        return Receipt(key=row.key, fingerprint=row.fingerprint, body=row.body) if row else None

    def counts(self) -> dict[str, int]:
        """How many stills, readings and attempts that count there are."""
        count = sa.func.count
        counting = {
            "stills": sa.select(count(t.stills.c.id)),
            "readings": sa.select(count(t.readings.c.id)),
            "attempts": sa.select(count(t.attempts.c.id)).where(struck_where(t.attempts, False)),
        }
        return {
            name: self._connection.execute(query).scalar_one() for name, query in counting.items()
        }
