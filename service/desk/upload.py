"""A still that arrives, and the name that it may have here."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import PurePosixPath

_NAME_LIMIT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Upload:
    """A still as whoever sends it hands it over."""

    data: bytes
    name: str
    key: str | None = None
    """Idempotency key: the same still under the same key is taken once only."""

    @property
    def fingerprint(self) -> str:
        """Hash of all that a repeat must have in common with the first."""
        return hashlib.sha256(self.name.encode() + b"\0" + self.data).hexdigest()


def clean_name(name: str) -> str:
    """The last part of a sender's file name, without what cannot be shown; never a path."""
    last = PurePosixPath(name.replace("\\", "/")).name
    shown = "".join(char for char in last if char.isprintable()).strip()
    return shown[:_NAME_LIMIT] or "still"
