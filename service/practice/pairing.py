"""Readings of a session: pairs by their names, or a chain in order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import RestmarkError
from vision.layout import Layout

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


def chain_readings(
    readings: Sequence[tuple[str, Reading]],
) -> tuple[tuple[tuple[str, Reading], ...], tuple[LeftOut, ...]]:
    """The readings of a sequence, and the stills taken while something went on, left out of it."""
    chain: list[tuple[str, Reading]] = []
    out: list[LeftOut] = []
    for name, reading in readings:
        if isinstance(reading, Layout) and reading.obstructed:
            out.append(_left_out(name, "obstructed", "something lies over the playing surface"))
        elif isinstance(reading, Layout) and not reading.settled:
            out.append(_left_out(name, "unsettled", "balls are still moving"))
        else:
            chain.append((name, reading))
    return tuple(chain), tuple(out)


def _role(name: str) -> tuple[str, str] | None:
    match = _ROLE.match(_SUFFIX.sub("", name))
    return (match["stem"], match["role"].lower()) if match else None


def _left_out(name: str, code: str, reason: str) -> LeftOut:
    return LeftOut(name=name, code=code, reason=f"{name}: {reason}; it is not scored")
