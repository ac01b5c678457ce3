"""How an attempt ended, as far as the next turn depends on it; pot and position apart."""

from __future__ import annotations

from dataclasses import dataclass

from service.position import Intent, Verdict

COUNTS = ("both", "pot", "position")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One attempt; None where a thing was not asked or could not be told."""

    intent: Intent | None = None
    pot: bool | None = None
    """The ball to pot went down, and the cue ball did not."""
    position: bool | None = None
    """The cue ball stopped in the zone; None where that is too close to call."""
    place: int | None = None
    """Which of the plan's shots it was, from 1; None: the next that is free."""

    @classmethod
    def of(cls, verdict: Verdict) -> Tried:
        """From a scored attempt."""
        position = None
        if verdict.verdict in ("in", "out") and not (verdict.zone_empty and not verdict.scratch):
            position = verdict.verdict == "in"
        made = verdict.pot_made
        return cls(
            intent=verdict.intent,
            pot=None if made is None else made and not verdict.scratch,
            position=position,
        )

    def success(self, counts: str = "both") -> bool | None:
        """Whether it succeeded at what counts; None where that cannot be told.

        A thing that was not asked does not count against it; one failure settles it.
        """
        if counts == "pot":
            return self.pot
        if counts == "position":
            return self.position
        asked_pot = self.intent is None or self.intent.pot is not None
        parts = [self.position, *([self.pot] if asked_pot else [])]
        if False in parts:
            return False
        return None if None in parts else True
