"""What a watch says of itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

WATCHING, LOST, STOPPED = "watching", "lost", "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class LastStill:
    """The still that a watch took last."""

    reading_id: int
    name: str
    at: datetime

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {"reading_id": self.reading_id, "name": self.name, "at": self.at.isoformat()}


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchState:
    """A watch as it stands."""

    source: str | None = None
    """As it may be shown: without name and password."""
    state: str = STOPPED
    """``watching``; ``lost``: the source is away and waited for; ``stopped``."""
    said: str = ""
    """The last sentence for the player."""
    code: str = ""
    """What that sentence is about, for programs: a refusal's code, ``no-picture``, ``frozen``."""
    since: datetime | None = None
    """Since when it is in this state."""
    last_still: LastStill | None = None
    resumed: bool = False
    """It goes on with what was watched before the service started."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the API."""
        return {
            "source": self.source,
            "state": self.state,
            "said": self.said,
            "code": self.code,
            "since": None if self.since is None else self.since.isoformat(),
            "last_still": None if self.last_still is None else self.last_still.to_dict(),
            "resumed": self.resumed,
        }
