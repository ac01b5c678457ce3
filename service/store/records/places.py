"""Tables, players, and what is known of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from vision.layout import Layout

FIRST = 1
"""Number of the table, and of the player, that every store has."""
OVERHEAD = "overhead"
"""The camera that is meant where none is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerRecord:
    """Somebody who plays."""

    id: int
    name: str
    made_at: datetime

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {"id": self.id, "name": self.name, "made_at": self.made_at.isoformat()}


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRecord:
    """A table, and who plays at it now."""

    id: int
    name: str
    player_id: int
    made_at: datetime

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "name": self.name,
            "player_id": self.player_id,
            "made_at": self.made_at.isoformat(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingsRecord:
    """A player's settings as they hold from some time on: a whole player file."""

    id: int
    player_id: int = FIRST
    set_at: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRecord:
    """A version of the table's calibration: the whole document as it was given."""

    id: int
    table_id: int = 1
    camera: str = OVERHEAD
    set_at: datetime
    document: Mapping[str, Any]
    ended_at: datetime | None = None
    """When its camera was taken away; None: it was not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRecord:
    """A taught ball set: the whole document as it was given."""

    id: int
    table_id: int = 1
    taught_at: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchRecord:
    """What is watched at a table until somebody ends it, over restarts of the service too."""

    table_id: int
    set_at: datetime
    source: str = field(repr=False)
    """As it was given; it may hold a password."""
    camera: str = OVERHEAD
    """Which of the table's cameras it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideRecord:
    """The layout that is to be set up at a table, and how near is near enough."""

    table_id: int
    set_at: datetime
    layout: Layout
    layout_id: int | None = None
    """The kept layout that it was taken from."""
    tolerance_mm: float
