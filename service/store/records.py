"""What the store hands out: one frozen value a row, with the rows it points to."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from calibration.errors import RestmarkError
from vision.layout import Layout


class StoreError(RestmarkError):
    """The data directory cannot be used; the text names it and says what to do."""

    code = "store-failed"


class DamagedError(StoreError):
    """The database is not what was written to it; the text says where."""

    code = "store-damaged"


WAY_OUT = (
    "Stop Restmark, move restmark.db, restmark.db-wal and restmark.db-shm out of the folder, and "
    "rename restmark.db.kept, the copy of a start on which all was whole, or a copy of your own "
    "to restmark.db. Stills posted since can be posted again: their pictures are in stills/."
)


def whole_json(text: str) -> Any:
    """The document in a cell; damage that came after the start is a refusal, no failure."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as wrong:
        raise DamagedError(
            f"restmark.db: a cell is damaged ({wrong}); allowed: a whole database. {WAY_OUT}"
        ) from None


class NotFoundError(RestmarkError):
    """No row of that number."""

    code = "not-found"

    @classmethod
    def of(cls, kind: str, number: int, collection: str) -> NotFoundError:
        """Error that names the kind of row and the collection that lists what there is."""
        return cls(
            f"{kind}: got number {number}; allowed: a number that {collection} lists. "
            "Look it up there."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRecord:
    """A version of the table's calibration: the whole document as it was given."""

    id: int
    set_at: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class StillRecord:
    """A still as it arrived. Its bytes lie in ``stills/`` under their own hash."""

    id: int
    received_at: datetime
    name: str
    media_type: str
    sha256: str
    size_bytes: int

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "received_at": self.received_at.isoformat(),
            "name": self.name,
            "media_type": self.media_type,
            "sha256": self.sha256,
            "size_bytes": self.size_bytes,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRecord:
    """What was read in a still, and with which calibration."""

    id: int
    still: StillRecord
    calibration_id: int
    read_at: datetime
    took_ms: float
    layout: Layout
    comparison: Mapping[str, Any] | None = None
    """Whether it was compared with a pending intent, and if not, why not; None without one."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "still": self.still.to_dict(),
            "calibration_id": self.calibration_id,
            "read_at": self.read_at.isoformat(),
            "took_ms": self.took_ms,
            "layout": self.layout.to_dict(),
            "comparison": None if self.comparison is None else dict(self.comparison),
        }


PLAYER_GIVEN, PLAYER_STARTING = "given", "starting values"
"""Where the settings came from that an attempt was judged by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerRecord:
    """The player's settings as they hold from some time on: a whole player file."""

    id: int
    set_at: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedBy:
    """The player's settings that an attempt was judged by."""

    settings: Mapping[str, Any]
    """As a player file has them."""
    source: str
    """``given``, or ``starting values`` where nobody gave any."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRecord:
    """A taught ball set: the whole document as it was given."""

    id: int
    taught_at: datetime
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionRecord:
    """What was said of a reading's names at one time, and the layout as it was before that."""

    id: int
    made_at: datetime
    reading_id: int
    names: Sequence[Mapping[str, Any]]
    """Objects with id, x_mm and y_mm, as they were sent."""
    layout_before: Layout

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "made_at": self.made_at.isoformat(),
            "names": [dict(name) for name in self.names],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class IntentRecord:
    """What the player means to do from the layout of ``before_reading_id``."""

    id: int
    set_at: datetime
    before_reading_id: int
    state: str
    document: Mapping[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "set_at": self.set_at.isoformat(),
            "before_reading_id": self.before_reading_id,
            "state": self.state,
            "intent": dict(self.document),
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
class Score:
    """What statistics need of an attempt; equal ones mean the same, so that what was worked out
    of one can be used again. Documents stay text until somebody asks for them."""

    attempt_id: int
    intent_text: str
    verdict_text: str
    """As ``score --json`` prints it."""
    offset_along_mm: float | None = None
    """Stop against the zone's wanted spot along the arrival line, + long."""
    offset_across_mm: float | None = None
    """The same across it, + left."""
    around: Circumstances
    """When it was played, what kind of shot it was, and whether it belonged to a row."""

    @property
    def played_at(self) -> datetime:
        """When it was played."""
        assert self.around.played_at is not None
        return self.around.played_at

    @property
    def in_a_row(self) -> int | None:
        """It belonged to a set of so many successes in a row."""
        return self.around.in_a_row

    @property
    def kind(self) -> dict[str, Any]:
        """Kind of shot, as ``Circumstances.kind`` gives it."""
        return self.around.kind()

    @property
    def intent(self) -> Mapping[str, Any]:
        """The intent's document."""
        return whole_json(self.intent_text)

    @property
    def verdict(self) -> Mapping[str, Any]:
        """The verdict's document."""
        return whole_json(self.verdict_text)


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
    """As in ``Score``."""
    offset_across_mm: float | None = None

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
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """The answer once given to an idempotency key, kept so that a repeat gets the same."""

    key: str
    fingerprint: str
    """Hash of what was sent; another one under the same key is a mistake of the sender."""
    body: Mapping[str, Any]
