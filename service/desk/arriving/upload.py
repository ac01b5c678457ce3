"""A still as whoever sends it hands it over."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from calibration.errors import RestmarkError
from service.practice import Seen
from service.store import FIRST, OVERHEAD, POSTED

_NAME_LIMIT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A still as whoever sends it hands it over: one that was taken now, at that table."""

    data: bytes
    name: str
    key: str | None = None
    """Idempotency key: the same still under the same key is taken once only."""
    settled: bool = True
    """What the sender says: False while balls roll. Such a still is read, never scored."""
    table_id: int = FIRST
    camera: str = OVERHEAD
    """Which of the table's cameras took it."""
    source: str = POSTED
    """``posted`` or ``watched``."""
    seen: Seen | None = None
    """What frames before it showed, where somebody watched."""

    @property
    def fingerprint(self) -> str:
        """Hash of all that a repeat must have in common with the first."""
        rolling = b"" if self.settled else b"rolling\0"
        at = b"" if self.table_id == FIRST else f"table {self.table_id}\0".encode()
        by = b"" if self.camera == OVERHEAD else f"camera {self.camera}\0".encode()
        return hashlib.sha256(
            rolling + at + by + self.name.encode() + b"\0" + self.data
        ).hexdigest()

    @property
    def sha256(self) -> str:
        """Hash of the bytes alone, as stills are kept by."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Stills of one moment at a table by its cameras; of one alone where it has no other."""

    uploads: tuple[Upload, ...]
    """At least one, of each camera once."""
    away: Mapping[str, RestmarkError] = field(default_factory=dict)
    """Cameras of that table that gave none, and why."""

    @property
    def main(self) -> Upload:
        """The one that the reading is kept with: the overhead camera's where it is there."""
        return next((up for up in self.uploads if up.camera == OVERHEAD), self.uploads[0])

    @property
    def seen(self) -> Seen | None:
        """What frames before it showed: by a camera that saw balls roll, if any did."""
        told = [up.seen for up in (self.main, *self.uploads) if up.seen is not None]
        return next((seen for seen in told if seen.rolled), told[0] if told else None)

    @property
    def is_joint(self) -> bool:
        """Whether the table has several cameras."""
        return len(self.uploads) + len(self.away) > 1


def clean_name(name: str) -> str:
    """The last part of a sender's file name, without what cannot be shown; never a path."""
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(char for char in last if char.isprintable()).strip()
    return shown[:_NAME_LIMIT] or "still"
