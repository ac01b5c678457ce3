"""Where the cue ball goes after the contact, as far as cut alone can tell: between stun and roll.

A stunned cue ball leaves along the tangent line, 90° off the object ball's; a rolling one is
turned off its way by δ, tan δ = sin θ·cos θ/(sin² θ + 0.4) (trade facts, section 2). Draw, side
spin and cushions are not predicted.
"""

from __future__ import annotations

import math

from calibration.table import PointMm

from .cut import STRAIGHT_BELOW_DEG

_ROLL = 0.4
"""2/5, a solid ball's moment of inertia over m·R²."""


def rolling_turn_deg(cut_deg: float) -> float:
    """How far a rolling cue ball is turned off its way by a cut, in the end."""
    sine, cosine = math.sin(math.radians(cut_deg)), math.cos(math.radians(cut_deg))
    return math.degrees(math.atan2(sine * cosine, sine * sine + _ROLL))


def leaving_range_deg(
    cue_mm: PointMm, ghost_mm: PointMm, line: PointMm
) -> tuple[float, float] | None:
    """Bearings between which the cue ball leaves, counter-clockwise from the first to the second.

    Degrees from the table's +x, the first within ±180. ``line``: unit vector of the object ball's
    way. None for a straight shot, whose cue ball keeps no way that the cut tells, and for a cut
    of 90° or more.
    """
    x, y = ghost_mm[0] - cue_mm[0], ghost_mm[1] - cue_mm[1]
    ahead, aside = x * line[0] + y * line[1], x * line[1] - y * line[0]
    cut = math.degrees(math.atan2(abs(aside), ahead))
    if not STRAIGHT_BELOW_DEG <= cut < 90.0:
        return None
    # the object ball goes to one side of the way, the cue ball to the other
    sign = -1.0 if aside > 0 else 1.0
    way = math.degrees(math.atan2(y, x))
    rolling, stunned = way + sign * rolling_turn_deg(cut), way + sign * (90.0 - cut)
    first, second = min(rolling, stunned), max(rolling, stunned)
    shift = 360.0 * math.ceil((first - 180.0) / 360.0)
    return (first - shift, second - shift)
