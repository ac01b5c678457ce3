"""Stills, readings, and what was said of their names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from vision.layout import CameraPart, Layout

POSTED, WATCHED, IMPORTED = "posted", "watched", "imported"
"""Where a still came from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StillRecord:
    """A still as it arrived. Its bytes lie in ``stills/`` under their own hash."""

    id: int
    received_at: datetime
    name: str
    media_type: str
    sha256: str
    size_bytes: int
    table_id: int = 1
    source: str = POSTED
    """``posted``, ``watched`` or ``imported``."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "id": self.id,
            "received_at": self.received_at.isoformat(),
            "name": self.name,
            "media_type": self.media_type,
            "sha256": self.sha256,
            "size_bytes": self.size_bytes,
            "table_id": self.table_id,
            "source": self.source,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadBy:
    """What a reading was made with, beside its calibration; None where that was not kept."""

    set_id: int | None = None
    """The taught set that held."""
    weights: str | None = None
    """Hash of the networks used."""
    software: str | None = None
    """Release that read it."""


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
    table_id: int = 1
    live: bool = True
    """A still taken now at its table: not imported, not read again, not of another day."""
    outcome: Mapping[str, Any] | None = None
    """What happened since the live reading before, as an event's JSON; None where nobody looked."""
    read_by: ReadBy = ReadBy()

    @property
    def still_calibration_id(self) -> int:
        """The calibration of the camera that took its still: not the table's first where that one
        gave none."""
        part = self.still_part
        number = None if part is None else part.calibration_id
        return self.calibration_id if number is None else number

    @property
    def still_part(self) -> CameraPart | None:
        """What the camera of its still gave, where several looked at the table."""
        mine = self.still.sha256
        return next((part for part in self.layout.cameras if part.sha256 == mine), None)

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
            "table_id": self.table_id,
            "live": self.live,
            "outcome": None if self.outcome is None else dict(self.outcome),
            "set_id": self.read_by.set_id,
            "weights": self.read_by.weights,
            "software": self.read_by.software,
        }


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
