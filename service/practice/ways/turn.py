"""The next thing to play."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from service.position import Intent


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What to play next, and from which layout."""

    intent: Intent | None
    same_layout: bool = False
    """The layout of the attempt before is to be set up again."""
    first_layout: bool = False
    """The layout of the plan's first shot is to be set up again."""
    distance_mm: float | None = None
    """How far the ball or the leave lies now, where the distance adapts."""
    place: int | None = None
    """Which of the plan's shots it is, from 1, where they are played in order."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "intent": None if self.intent is None else self.intent.to_dict(),
            "same_layout": self.same_layout,
            "first_layout": self.first_layout,
            "distance_mm": self.distance_mm,
            "place": self.place,
        }
