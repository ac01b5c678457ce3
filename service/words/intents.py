"""What a shot is meant to do, in one sentence and in short."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .balls import pocket_name
from .lengths import MILLIMETRES, Lengths
from .plain import capital

if TYPE_CHECKING:
    from service.position import Intent

ANY_CUT_DEG = (0.0, 90.0)


def intent_words(intent: Intent, lengths: Lengths = MILLIMETRES) -> str:
    """What was meant: ``Pot 3 in the foot left, leave 4 for the side right …``."""
    parts = []
    if intent.pot is not None:
        into = f" in the {pocket_name(intent.pocket)}" if intent.pocket else ""
        parts.append(f"pot {intent.pot}{into}")
    if intent.next is not None:
        where = f"the {pocket_name(intent.next_pocket)}" if intent.next_pocket else "any pocket"
        parts += [f"leave {intent.next} for {where}", *_limits(intent, lengths)]
    if intent.zone is not None:
        parts.append("stop in the drawn zone")
    if intent.route_mm is not None:
        parts.append("by the drawn route")
    return capital(", ".join(parts))


def _limits(intent: Intent, lengths: Lengths) -> list[str]:
    """What the leave asks for beyond the pocket."""
    parts = []
    cut = cut_wanted_deg(intent)
    if cut is not None:
        parts.append(f"cut {cut[0]:g} to {cut[1]:g}°")
    if intent.side != "either":
        parts.append(f"{intent.side} of the potting line")
    near, far = intent.distance_mm
    if math.isfinite(far):
        parts.append(f"{lengths.between(near, far)} away")
    elif near:
        parts.append(f"{lengths.text(near)} or more away")
    if intent.cushion_mm:
        parts.append(f"{lengths.text(intent.cushion_mm)} off the cushions")
    return parts


def cut_wanted_deg(intent: Intent | None) -> tuple[float, float] | None:
    """The cut wanted, degrees; None where any would do."""
    if intent is None or intent.next is None or intent.cut_deg == ANY_CUT_DEG:
        return None
    return intent.cut_deg


def cut_wanted(intent: Intent | None) -> str:
    """``10–40°``; empty where any cut would do."""
    cut = cut_wanted_deg(intent)
    return "" if cut is None else f"{cut[0]:g}–{cut[1]:g}°"
