"""What was left against what was wanted, in the words of the trade."""

from __future__ import annotations


def judged_angle(left_deg: float | None, wanted_deg: tuple[float, float] | None) -> str:
    """``too straight``, ``good angle`` or ``too much angle``; empty where nothing was asked."""
    if left_deg is None or wanted_deg is None:
        return ""
    if left_deg < wanted_deg[0]:
        return "too straight"
    return "too much angle" if left_deg > wanted_deg[1] else "good angle"


def judged_side(left: str | None, wanted: str | None) -> str:
    """``right side`` or ``wrong side``; empty where straight, unknown or none was asked."""
    if left not in ("left", "right") or wanted not in ("left", "right"):
        return ""
    return "right side" if left == wanted else "wrong side"
