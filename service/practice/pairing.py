"""Readings of a session: pairs by their names, or a chain in order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import RestmarkError
from vision.layout import Layout

from .between.seen import Seen

Reading = Layout | RestmarkError
"""What a still gave: a layout, or why it could not be read."""
_ROLE = re.compile(r"^(?P<stem>.*?)[-_ ]?(?P<role>before|after)$", re.IGNORECASE)
_SUFFIX = re.compile(r"\.[A-Za-z0-9]{1,5}$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One attempt: the readings before and after the shot, with their names."""

    before_name: str
    before: Reading
    after_name: str
    after: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A still that belongs to no attempt, and why."""

    name: str
    code: str
    reason: str


def named_in_pairs(readings: Sequence[tuple[str, Reading]]) -> bool:
    """Whether the stills say by their names which is before a shot and which after it."""
    return any(_role(name) for name, _ in readings)


def pair_readings(
    readings: Sequence[tuple[str, Reading]],
) -> tuple[tuple[Pair, ...], tuple[LeftOut, ...]]:
    """Attempts in the order given, and the stills that belong to none.

    Stills named ``…-before`` and ``…-after`` (ending and folder aside) form pairs by name.
    """
    found: dict[str, dict[str, tuple[str, Reading]]] = {}
    out: list[LeftOut] = []
    for name, reading in readings:
        known = _role(name)
        if known is None:
            out.append(_left_out(name, "no-pair", "is named neither …-before nor …-after"))
            continue
        stem, role = known
        stills = found.setdefault(stem, {})
        if role in stills:
            out.append(_left_out(name, "no-pair", f"{stills[role][0]} is that already"))
        else:
            stills[role] = (name, reading)
    pairs = []
    for stills in found.values():
        if len(stills) == 2:
            (before_name, before), (after_name, after) = stills["before"], stills["after"]
            pairs.append(
                Pair(before_name=before_name, before=before, after_name=after_name, after=after)
            )
            continue
        ((role, (name, _)),) = stills.items()
        missing = "after" if role == "before" else "before"
        out.append(_left_out(name, "no-pair", f"its still {missing} the shot is missing"))
    return tuple(pairs), tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A reading of a sequence, with what stills left out before it showed."""

    name: str
    reading: Reading
    seen: Seen | None = None


def chain_readings(
    readings: Sequence[tuple[str, Reading]],
) -> tuple[tuple[Link, ...], tuple[LeftOut, ...]]:
    """The readings of a sequence, and the stills taken while something went on, left out of it.

    Such a still is no layout, but it tells: balls that still move were played, and an arm is a
    hand over the bed.
    """
    chain: list[Link] = []
    out: list[LeftOut] = []
    arm = rolled = False
    for name, reading in readings:
        if isinstance(reading, Layout) and reading.obstructed:
            out.append(_left_out(name, "obstructed", "something lies over the playing surface"))
            arm = True
        elif isinstance(reading, Layout) and not reading.settled:
            out.append(_left_out(name, "unsettled", "balls are still moving"))
            rolled = True
        else:
            seen = Seen(rolled=rolled or None, hand_over_bed=arm or None)
            chain.append(Link(name=name, reading=reading, seen=seen if arm or rolled else None))
            arm = rolled = False
    return tuple(chain), tuple(out)


def role_of(name: str) -> str | None:
    """``before`` or ``after``, as a still's name says; None where it says neither."""
    known = _role(name)
    return None if known is None else known[1]


def _role(name: str) -> tuple[str, str] | None:
    match = _ROLE.match(_SUFFIX.sub("", name))
    return (match["stem"], match["role"].lower()) if match else None


def _left_out(name: str, code: str, reason: str) -> LeftOut:
    return LeftOut(name=name, code=code, reason=f"{name}: {reason}; it is not scored")
