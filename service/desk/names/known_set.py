"""What is known of the table's ball set, and from which readings it was learned."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from vision.layout import BALL_IDS
from vision.name.taught import Taught


@dataclass(frozen=True, slots=True, kw_only=True)
class NotLearned:
    """A reading that was put right but taught nothing, and why."""

    reading_id: int
    detail: str

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {"reading_id": self.reading_id, "detail": self.detail}


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSet:
    """The ball set as later stills are named by it."""

    taught: Taught | None = None
    """None where nothing was taught."""
    given_at: datetime | None = None
    """When a set was given as a whole."""
    set_id: int | None = None
    """Number of that set; None where stills are named without it."""
    given_refused: str | None = None
    """Why that one is not used."""
    learned_from: tuple[int, ...] = ()
    """Numbers of the readings put right by hand that count, in the order they were learned."""
    not_learned: tuple[NotLearned, ...] = ()

    @property
    def looks(self) -> dict[str, int]:
        """How often each of the sixteen balls was seen, under every name."""
        seen = Counter(look.id for look in self.taught.looks) if self.taught else Counter()
        return {name: seen[name] for name in BALL_IDS}

    def why_not(self, reading_id: int) -> str | None:
        """Why the set does not count what was said of that reading; None where it does."""
        if reading_id in self.learned_from:
            return None
        for each in self.not_learned:
            if each.reading_id == reading_id:
                return each.detail
        return (
            f"reading {reading_id}: not counted; allowed: the readings last put right since the "
            "set was given. Say its names again to have it counted."
        )

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "balls": [{"id": name, "looks": looks} for name, looks in self.looks.items()],
            "mistrust": self.taught.mistrust if self.taught else None,
            "given_at": self.given_at,
            "given_refused": self.given_refused,
            "learned_from": list(self.learned_from),
            "not_learned": [each.to_dict() for each in self.not_learned],
        }
