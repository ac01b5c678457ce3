"""One attempt of a session, and one transition that is no attempt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from service.position.verdict.score import Verdict
from vision.layout import Layout

from .between.outcome import Outcome, Repeat
from .kinds import ShotKind
from .notes import Note


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One attempt: its number from 1, its stills, and a verdict or the reason for none."""

    attempt: int
    before: str
    after: str
    verdict: Verdict | None = None
    refused_code: str | None = None
    refused_why: str | None = None
    before_layout: Layout | None = None
    after_layout: Layout | None = None
    kind: ShotKind | None = None
    """What kind of shot it was, with what the player noted."""
    note: Note | None = None
    outcome: Outcome | None = None
    """What happened between the two layouts; None where the stills are paired by name."""
    set_up: Repeat | None = None
    """The earlier layout that lay there again, and how far each ball was off."""

    @property
    def refused(self) -> bool:
        """No verdict could be given."""
        return self.verdict is None

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``session --json`` prints it, one an attempt."""
        out: dict[str, Any] = {
            "attempt": self.attempt,
            "before": self.before,
            "after": self.after,
        }
        if self.outcome is not None:
            out |= self.outcome.shot_dict()
        if self.set_up is not None:
            out |= self.set_up.to_dict()
        if self.verdict is None:
            return out | {"error": {"code": self.refused_code, "detail": self.refused_why}}
        out |= self.verdict.to_dict()
        if self.outcome is not None:
            out["warnings"] = [*out["warnings"], *self.outcome.notices]
            # null where no plan says what was meant
            intent = self.verdict.intent
            out["intent"] = None if intent is None else intent.to_dict()
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """What happened between two stills of a sequence that is no attempt."""

    before: str
    after: str
    outcome: Outcome

    def to_dict(self) -> dict[str, Any]:
        """JSON object as ``session --json`` prints it."""
        return {"before": self.before, "after": self.after} | self.outcome.to_dict()
