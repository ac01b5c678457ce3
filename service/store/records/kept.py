"""Practices, and what is kept to play again: plans and layouts; changes, events and receipts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from vision.layout import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRecord:
    """What a player does at a table from one time to another."""

    id: int
    table_id: int
    player_id: int
    began_at: datetime
    finished_at: datetime | None = None
    """None: it is open."""
    title: str
    way: Mapping[str, Any]
    plan_id: int | None = None
    skipped: Sequence[int] | None = None
    """Places of a plan's shots that are not to be played, from 1; None: none."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "table_id": self.table_id,
            "player_id": self.player_id,
            "began_at": self.began_at.isoformat(),
            "finished_at": _iso(self.finished_at),
            "title": self.title,
            "way": dict(self.way),
            "plan_id": self.plan_id,
            "skipped": list(self.skipped or ()),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRecord:
    """A plan that is kept."""

    id: int
    title: str
    made_at: datetime
    changed_at: datetime
    struck_at: datetime | None = None
    document: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "title": self.title,
            "made_at": self.made_at.isoformat(),
            "changed_at": self.changed_at.isoformat(),
            "struck_at": _iso(self.struck_at),
            "plan": dict(self.document),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutRecord:
    """A layout that is kept to be set up again."""

    id: int
    title: str
    note: str = ""
    tags: tuple[str, ...] = ()
    """In the order of the alphabet."""
    made_at: datetime
    changed_at: datetime
    struck_at: datetime | None = None
    reading_id: int | None = None
    """The reading that it was taken from."""
    layout: Layout
    intent: Mapping[str, Any] | None = None
    """The shot that is played from it."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "title": self.title,
            "note": self.note,
            "tags": list(self.tags),
            "made_at": self.made_at.isoformat(),
            "changed_at": self.changed_at.isoformat(),
            "struck_at": _iso(self.struck_at),
            "reading_id": self.reading_id,
            "layout": self.layout.to_dict(),
            "intent": None if self.intent is None else dict(self.intent),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRecord:
    """A change by hand, with what undoing it needs."""

    id: int
    at: datetime
    table_id: int = 1
    kind: str
    attempt_id: int | None = None
    before: Mapping[str, Any] | None = None
    after: Mapping[str, Any] | None = None
    undone_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRecord:
    """Something that was told to whoever listened; its number tells where to go on from."""

    id: int
    at: datetime
    table_id: int | None = None
    kind: str
    ids: Mapping[str, int | None]

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the event's data."""
        return {
            "kind": self.kind,
            "table_id": self.table_id,
            "at": self.at.isoformat(),
            **self.ids,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """The answer once given to an idempotency key, kept so that a repeat gets the same."""

    key: str
    fingerprint: str
    """Hash of what was sent; another one under the same key is a mistake of the sender."""
    body: Mapping[str, Any]


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()
