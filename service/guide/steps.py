"""In which order the balls are moved: none is put where another still lies."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.table import BALL_DIAMETER_MM, PointMm
from vision.layout import BALL_IDS, Ball

from .moves import Move

TAKE_OFF, LIFT, MOVE, PUT_ON = "take off", "lift", "move", "put on"
DOINGS = (TAKE_OFF, LIFT, MOVE, PUT_ON)
"""Off for good; off the table until its place is free; along the cloth; from beside the table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do with one ball."""

    do: str
    """One of ``DOINGS``."""
    ball: str
    at_mm: PointMm | None = None
    """Where it lies; None for a ball that is not on the table."""
    to_mm: PointMm | None = None
    """Where it goes; None for one that leaves the table."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "do": self.do,
            "id": self.ball,
            "at_mm": None if self.at_mm is None else list(self.at_mm),
            "to_mm": None if self.to_mm is None else list(self.to_mm),
        }


def steps(
    moves: Iterable[Move], extra: Sequence[Ball], missing: Sequence[Ball]
) -> tuple[Step, ...]:
    """What is left to do; the cue ball last where nothing waits for it.

    Two balls of which each lies in the other's place: one is lifted first.
    """
    out = [Step(do=TAKE_OFF, ball=ball.id, at_mm=ball.centre_mm) for ball in extra]
    left = [
        Step(do=MOVE, ball=move.ball, at_mm=move.from_mm, to_mm=move.to_mm)
        for move in moves
        if not move.is_right
    ]
    left += [Step(do=PUT_ON, ball=ball.id, to_mm=ball.centre_mm) for ball in missing]
    left.sort(key=lambda step: _rank(step.ball))
    while left:
        free = next((step for step in left if not _waits(step, left)), None)
        if free is None or (free.ball == "cue" and _lift_before(free, left)):
            free = next(step for step in left if step.do == MOVE and step is not free)
            out.append(Step(do=LIFT, ball=free.ball, at_mm=free.at_mm))
            left[left.index(free)] = Step(do=PUT_ON, ball=free.ball, to_mm=free.to_mm)
            continue
        out.append(free)
        left.remove(free)
    return tuple(out)


def _lift_before(cue: Step, left: Sequence[Step]) -> bool:
    """The others wait for one another and not for the cue ball, which then comes last."""
    others = [step for step in left if step is not cue]
    return bool(others) and all(_waits(step, others) for step in others)


def _rank(ball: str) -> int:
    return len(BALL_IDS) if ball == "cue" else BALL_IDS.index(ball)


def _waits(step: Step, left: Sequence[Step]) -> bool:
    """Whether a ball that has to leave still lies in the way."""
    return any(
        other is not step
        and other.at_mm is not None
        and step.to_mm is not None
        and math.dist(step.to_mm, other.at_mm) < BALL_DIAMETER_MM
        for other in left
    )
