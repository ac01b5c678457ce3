"""Intents and attempts, and the settings that attempts were judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from .seen import ReadingRecord

PLAYER_GIVEN, PLAYER_STARTING = "given", "starting values"
"""Where the settings came from that an attempt was judged by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedBy:
    """The player's settings that an attempt was judged by."""

    settings: Mapping[str, Any]
    """As a player file has them."""
    source: str
    """``given``, or ``starting values`` where nobody gave any."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IntentRecord:
    """What the player means to do from the layout of ``before_reading_id``."""

    id: int
    set_at: datetime
    before_reading_id: int
    state: str
    document: Mapping[str, Any]
    table_id: int = 1
    player_id: int = 1
    practice_id: int | None = None
    waits_for: Mapping[str, Any] | None = None
    """The layout that must lie there before it holds; None: as the table lay when it was set."""
    given_by: str = "person"
    """``person``, ``way`` (of the practice) or ``layout`` (one that was set up again)."""
    place: int | None = None
    """Which of the practice's plan it is, from 1; None: none of them."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "set_at": self.set_at.isoformat(),
            "before_reading_id": self.before_reading_id,
            "state": self.state,
            "intent": dict(self.document),
            "table_id": self.table_id,
            "player_id": self.player_id,
            "practice_id": self.practice_id,
            "given_by": self.given_by,
            "place": self.place,
            "waits_for": None if self.waits_for is None else dict(self.waits_for),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """When an attempt was played and what kind of shot it was; None where that is not known."""

    played_at: datetime | None = None
    """None: now."""
    travel_mm: float | None = None
    """Planned way of the cue ball from the contact to the wanted spot."""
    cut_deg: float | None = None
    """Cut of the shot that was played."""
    rails: int | None = None
    spin: str | None = None
    """As the player noted it."""
    side_spin: str | None = None
    in_a_row: int | None = None
    """It belonged to a set: so many successes in a row, a failure started again."""

    def kind(self) -> dict[str, Any]:
        """Kind of shot, one key a field, without time and set."""
        return {
            "travel_mm": self.travel_mm,
            "cut_deg": self.cut_deg,
            "rails": self.rails,
            "spin": self.spin,
            "side_spin": self.side_spin,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptRecord:
    """A shot that was compared with its intent; ``verdict`` as ``score --json`` prints it."""

    id: int
    made_at: datetime
    intent: IntentRecord
    before: ReadingRecord
    after: ReadingRecord
    verdict: Mapping[str, Any]
    kind: Mapping[str, Any]
    """Kind of shot, as ``Circumstances.kind`` gives it."""
    judged_by: JudgedBy
    in_a_row: int | None = None
    offset_along_mm: float | None = None
    """Stop against the zone's wanted spot along the arrival line, + long."""
    offset_across_mm: float | None = None
    table_id: int = 1
    player_id: int = 1
    practice_id: int | None = None
    struck_at: datetime | None = None
    """When it was struck; None: it counts."""
    set_up: Mapping[str, Any] | None = None
    """How far off the balls lay when it began, as the guide said."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API: the verdict beside the numbers and names of its stills."""
        return {
            "id": self.id,
            "made_at": self.made_at.isoformat(),
            "before": self.before.still.name,
            "before_reading_id": self.before.id,
            "after": self.after.still.name,
            "after_reading_id": self.after.id,
            "intent": dict(self.intent.document),
            "verdict": dict(self.verdict),
            "kind": dict(self.kind),
            "in_a_row": self.in_a_row,
            "player": dict(self.judged_by.settings),
            "player_source": self.judged_by.source,
            "table_id": self.table_id,
            "player_id": self.player_id,
            "practice_id": self.practice_id,
            "struck_at": None if self.struck_at is None else self.struck_at.isoformat(),
            "set_up": None if self.set_up is None else dict(self.set_up),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptEnd:
    """How an attempt ended, from its plain columns alone."""

    id: int
    before_reading_id: int
    after_reading_id: int
    called: str | None = None
    """The verdict's word."""
    zone_empty: bool | None = None
    potted_meant: bool | None = None
    scratch: bool | None = None
    set_up: Mapping[str, Any] | None = None
    intent: Mapping[str, Any]
    given_by: str = "person"
    """Who gave the intent, and which of the plan's shots it is."""
    place: int | None = None
