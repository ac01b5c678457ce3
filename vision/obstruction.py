"""Whether something that is no ball lies over the playing surface.

An arm, a cue or a body over the bed makes a reading untrustworthy. A player's shadow, chalk, and
what lies on the rails do not.
"""

from __future__ import annotations

from collections.abc import Sequence

from .detect import Thing

THING_SCORE = 0.08
"""The finder's score from which a thing obstructs."""


def obstructions(things: Sequence[Thing]) -> list[str]:
    """A warning for each thing that obstructs."""
    out = []
    for thing in things:
        if thing.score < THING_SCORE:
            continue
        (left, low), (right, high) = thing.low_mm, thing.high_mm
        out.append(
            f"Something lies over the bed near x {(left + right) / 2:.0f}, "
            f"y {(low + high) / 2:.0f} mm: clear the table and take the still again."
        )
    return out
