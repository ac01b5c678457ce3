"""Pots and position scored apart: each alone, both together, and position by the pot's fate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.position.verdict.score import Verdict

from .statistics.rates import Rate, rate
from .ways.tried import Tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """Rates among the attempts in which each thing was asked and could be told."""

    pot: Rate
    """A scratch spoils the pot."""
    position: Rate
    both: Rate
    """Pot and position, among the attempts that asked for both."""
    position_when_potted: Rate
    position_when_missed: Rate

    def to_dict(self) -> dict[str, Any]:
        """JSON object, one rate a key."""
        return asdict(self)


def scored_apart(verdicts: Sequence[Verdict]) -> Apart:
    """The rates of a session's attempts."""
    tried = [Tried.of(verdict) for verdict in verdicts]
    asked = [t for t in tried if t.pot is not None and t.position is not None]
    return Apart(
        pot=_rate([t.pot for t in tried]),
        position=_rate([t.position for t in tried]),
        both=_rate([bool(t.pot and t.position) for t in asked]),
        position_when_potted=_rate([t.position for t in asked if t.pot]),
        position_when_missed=_rate([t.position for t in asked if not t.pot]),
    )


def _rate(hits: Sequence[bool | None]) -> Rate:
    told = [hit for hit in hits if hit is not None]
    return rate(sum(told), len(told))
