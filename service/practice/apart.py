"""Pots and position scored apart: each alone, both together, and position by the pot's fate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from service.position.verdict.verdict import Verdict

from .columns import IN, OUT, UNKNOWN, Columns, Marks
from .statistics.outcomes import pots_made
from .statistics.rates import Rate, rate


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
    return apart_of(Columns.of_verdicts(verdicts))


def apart_of(shots: Columns) -> Apart:
    """The same of attempts as columns; as ``Tried`` has it, a scratch is no position either."""
    potted, has_pot = pots_made(shots), shots.pot != UNKNOWN
    placed = shots.called == IN
    has_place = (placed | (shots.called == OUT)) & (~shots.zone_empty | shots.scratch)
    asked = has_pot & has_place
    return Apart(
        pot=_rate(potted, has_pot),
        position=_rate(placed, has_place),
        both=_rate(potted & placed, asked),
        position_when_potted=_rate(placed, asked & potted),
        position_when_missed=_rate(placed, asked & ~potted),
    )


def _rate(hits: Marks, among: Marks) -> Rate:
    return rate(int(np.count_nonzero(hits & among)), int(np.count_nonzero(among)))
