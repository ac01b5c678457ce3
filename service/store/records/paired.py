"""Paired devices, and codes that pair."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceRecord:
    """A device that was paired; what it shows to be known again is kept as a hash only."""

    id: int
    name: str
    role: str
    token_hash: str
    paired_at: datetime
    seen_at: datetime | None = None
    seen_from: str | None = None
    """The address that it asked from last."""
    revoked_at: datetime | None = None
    """From then on it is not let in."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API, without the hash."""
        return {
            "id": self.id,
            "name": self.name,
            "role": self.role,
            "paired_at": self.paired_at.isoformat(),
            "seen_at": None if self.seen_at is None else self.seen_at.isoformat(),
            "seen_from": self.seen_from,
            "revoked_at": None if self.revoked_at is None else self.revoked_at.isoformat(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeRecord:
    """A code that pairs one device; only its hash is kept."""

    id: int
    code_hash: str
    role: str
    made_at: datetime
    ends_at: datetime
    used_at: datetime | None = None
