"""How whole the database is, as it was looked over last."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

WHOLE, LOOKING, DAMAGED, UNKNOWN = "whole", "being looked over", "damaged", "not looked over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What was found of the database's pages and cells, and what copies there are of it."""

    state: str = UNKNOWN
    looked_at: datetime | None = None
    """When it was looked over last, to the end."""
    took_s: float | None = None
    detail: str = ""
    """What is wrong and what to do; empty where nothing is."""
    copies: tuple[date, ...] = ()
    """Days of the daily copies, newest first."""
    no_copy: str = ""
    """Why today's copy could not be made."""

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person must know; empty where all is well."""
        out: tuple[str, ...] = (self.detail,) if self.detail else ()
        if self.no_copy:
            newest = self.copies[0].isoformat() if self.copies else "none"
            out += (
                f"No copy of the database could be made today ({self.no_copy}); the newest is "
                f"{newest}. Make room on the disk, or make one elsewhere by `restmark backup`.",
            )
        return out
