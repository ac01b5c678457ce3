"""What was left against what was wanted, in the words of the trade."""

from __future__ import annotations


def judged_angle(left_deg: float | None, wanted_deg: tuple[float, float] | None) -> str:
    """``too straight``, ``good angle`` or ``too much angle``; empty where nothing was asked."""
    off = angle_off_deg(left_deg, wanted_deg)
    if off is None:
        return ""
    if off == 0:
        return "good angle"
    return "too straight" if off < 0 else "too much angle"


def angle_off_deg(left_deg: float | None, wanted_deg: tuple[float, float] | None) -> float | None:
    """Degrees by which the cut left misses the wanted range: − too straight, + too much angle."""
    if left_deg is None or wanted_deg is None:
        return None
    low, high = wanted_deg
    return min(left_deg - low, 0.0) + max(left_deg - high, 0.0)


def judged_side(left: str | None, wanted: str | None) -> str:
    """``right side`` or ``wrong side``; empty where straight, unknown or none was asked."""
    if left not in ("left", "right") or wanted not in ("left", "right"):
        return ""
    return "right side" if left == wanted else "wrong side"
