"""Figures of a verdict as plain columns, so that statistics are questions to the database."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

_COPIED = (
    "p_in",
    "miss_mm",
    "along_mm",
    "across_mm",
    "hooked",
    "path_to_pocket",
    "frozen",
    "reach",
    "scratch",
    "zone_empty",
    "pot_chance",
    "pot_chance_given_up",
)
"""Keys of a verdict that are columns of the same name."""


def plain_columns(
    verdict: Mapping[str, Any],
    intent: Mapping[str, Any],
    *,
    offsets_mm: tuple[float | None, float | None] = (None, None),
) -> dict[str, Any]:
    """Columns of an attempt that repeat what its verdict says; None where it does not apply.

    ``called`` is the verdict's word, ``left_cut_deg`` and ``left_side`` are of the shot that was
    left, ``potted_meant`` says whether the ball to pot went, ``shot`` is one hash an intent, and
    ``off_wanted_mm`` the distance from the wanted spot, however the cue ball came. Along and
    across are None where no arrival is known.
    """
    arrival_from = _arrival_from(verdict, intent)
    miss, stop, wanted = (
        _pair(verdict.get(key)) for key in ("miss_vector_mm", "cue_stop_mm", "wanted_mm")
    )
    out = {key: verdict.get(key) for key in _COPIED}
    if arrival_from is None:
        out |= {"along_mm": None, "across_mm": None}
        offsets_mm = (None, None)
    pot = intent.get("pot")
    return out | {
        "called": verdict.get("verdict"),
        "miss_x_mm": miss[0],
        "miss_y_mm": miss[1],
        "stop_x_mm": stop[0],
        "stop_y_mm": stop[1],
        "wanted_x_mm": wanted[0],
        "wanted_y_mm": wanted[1],
        "off_wanted_mm": _off_wanted_mm(stop, wanted, offsets_mm),
        "arrival_from": arrival_from,
        "left_cut_deg": verdict.get("cut_deg"),
        "left_side": verdict.get("side"),
        "potted_meant": None if pot is None else pot in (verdict.get("potted") or ()),
        "shot": shot_of(intent),
    }


def shot_of(intent: Mapping[str, Any]) -> str:
    """What tells a shot from others: a hash of its intent."""
    return hashlib.sha256(json.dumps(intent, sort_keys=True).encode()).hexdigest()


def _arrival_from(verdict: Mapping[str, Any], intent: Mapping[str, Any]) -> str | None:
    """As the verdict says; verdicts of old took a straight line to the wanted spot for planned."""
    told = verdict.get("arrival_from")
    if told is None and verdict.get("arrival") is not None:
        return (
            "video" if verdict["arrival"] == "seen" else "route" if intent.get("route_mm") else None
        )
    return told


def _pair(value: Any) -> tuple[float, float] | tuple[None, None]:
    return (None, None) if value is None else (value[0], value[1])


def _off_wanted_mm(
    stop: tuple[float | None, float | None],
    wanted: tuple[float | None, float | None],
    offsets_mm: tuple[float | None, float | None],
) -> float | None:
    """From both places; by the offsets where a verdict of old kept no wanted spot."""
    (stop_x, stop_y), (wanted_x, wanted_y), (along, across) = stop, wanted, offsets_mm
    if None not in (stop_x, stop_y, wanted_x, wanted_y):
        return math.hypot(stop_x - wanted_x, stop_y - wanted_y)  # type: ignore[operator]
    return None if along is None or across is None else math.hypot(along, across)
