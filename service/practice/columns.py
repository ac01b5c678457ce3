"""Attempts as columns: what statistics need of each, one array a thing, many attempts at once.

A place in every array is an attempt, in the order of play. What is not known is NaN in a column
of lengths and chances, −1 in one of codes, False in one of marks.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.position.meant.intent import Intent
from service.position.verdict.verdict import VERDICTS, Verdict
from service.practice.kinds import ShotKind
from service.practice.notes import SIDE_SPINS, SPINS

Reals = NDArray[np.float64]
Codes = NDArray[np.int32]
Marks = NDArray[np.bool_]
Times = NDArray[np.datetime64]

IN, OUT, TOO_CLOSE = range(3)
"""Codes of ``called``, in the order of ``VERDICTS``."""
ARRIVALS = ("video", "route", "cut")
"""From what an arrival is known; its place is its code."""
UNKNOWN = -1
_NEVER = datetime(1970, 1, 1, tzinfo=UTC)
_REALS = (
    "miss_mm", "off_wanted_mm", "offset_along_mm", "offset_across_mm", "pot_chance",
    "pot_chance_given_up", "travel_mm", "cut_deg",
)  # fmt: skip
_WORDS: dict[str, tuple[str, ...]] = {
    "called": VERDICTS,
    "arrival": ARRIVALS,
    "spin": SPINS,
    "side_spin": SIDE_SPINS,
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Columns:
    """Attempts in the order of play, n places in each array."""

    at: Times
    """When each was played, UTC, microseconds."""
    called: Codes
    """``IN``, ``OUT``, ``TOO_CLOSE``; −1 without an intent."""
    zone_empty: Marks
    pot: Codes
    """1 made, 0 missed, −1 where no ball to pot was named."""
    scratch: Marks
    miss_mm: Reals
    off_wanted_mm: Reals
    """Distance from the wanted spot, in the zone or out of it."""
    offset_along_mm: Reals
    """Stop against the wanted spot along the arrival line, + long."""
    offset_across_mm: Reals
    """The same across it, + left."""
    arrival: Codes
    """Place in ``ARRIVALS``."""
    pot_chance: Reals
    pot_chance_given_up: Reals
    travel_mm: Reals
    cut_deg: Reals
    rails: Codes
    spin: Codes
    side_spin: Codes
    in_a_row: Codes
    """Length of the set of successes in a row that it belonged to; 0 for plain attempts."""
    shot: Codes
    """Attempts with the same number had the same intent."""

    def __len__(self) -> int:
        return len(self.at)

    def take(self, which: Marks | NDArray[np.intp] | slice) -> Columns:
        """The attempts that a mask, places or a slice tell."""
        return Columns(**{each.name: getattr(self, each.name)[which] for each in fields(self)})

    def digest(self) -> bytes:
        """A hash of all values: the same for the same attempts, whenever they were fetched."""
        out = hashlib.blake2b(digest_size=16)
        for each in fields(self):
            out.update(np.ascontiguousarray(getattr(self, each.name)).tobytes())
        return out.digest()

    @classmethod
    def of(cls, given: Mapping[str, Sequence[Any]]) -> Columns:
        """From one sequence a column, by name, None where a thing is not known.

        ``called``, ``arrival``, ``spin`` and ``side_spin`` as their words, ``pot`` as a mark,
        ``at`` with or without a zone (UTC), ``shot`` as whatever tells one from another.
        ValueError where a value is of another kind, or a word is none of those.
        """
        out: dict[str, Any] = {name: _reals(given[name]) for name in _REALS}
        out |= {name: _coded(name, given[name], words) for name, words in _WORDS.items()}
        return cls(
            at=_times(given["at"]),
            zone_empty=np.array([bool(mark) for mark in given["zone_empty"]], dtype=np.bool_),
            pot=_codes(given["pot"]),
            scratch=np.array(given["scratch"], dtype=np.bool_),
            rails=_codes(given["rails"]),
            in_a_row=_codes(given["in_a_row"], missing=0),
            shot=_numbered(given["shot"]),
            **out,
        )

    @classmethod
    def of_verdicts(
        cls,
        verdicts: Sequence[Verdict],
        *,
        kinds: Sequence[ShotKind | None] | None = None,
        at: Sequence[datetime] | None = None,
        in_a_row: Sequence[int | None] | None = None,
    ) -> Columns:
        """From scored attempts as values; without ``at`` all are from one moment."""
        n = len(verdicts)
        known = [kind or ShotKind() for kind in kinds or [None] * n]
        return cls.of(
            {
                "at": at or [_NEVER] * n,
                "called": [v.verdict for v in verdicts],
                "zone_empty": [v.zone_empty for v in verdicts],
                "pot": [v.pot_made for v in verdicts],
                "scratch": [v.scratch for v in verdicts],
                "miss_mm": [v.miss_mm for v in verdicts],
                "off_wanted_mm": [v.off_wanted_mm for v in verdicts],
                "offset_along_mm": [v.offset_along_mm for v in verdicts],
                "offset_across_mm": [v.offset_across_mm for v in verdicts],
                "arrival": [v.arrival_from for v in verdicts],
                "pot_chance": [v.pot_chance for v in verdicts],
                "pot_chance_given_up": [v.pot_chance_given_up for v in verdicts],
                "travel_mm": [k.travel_mm for k in known],
                "cut_deg": [k.cut_deg for k in known],
                "rails": [k.rails for k in known],
                "spin": [k.spin for k in known],
                "side_spin": [k.side_spin for k in known],
                "in_a_row": in_a_row or [None] * n,
                "shot": ["" if v.intent is None else shot_of(v.intent) for v in verdicts],
            }
        )


class Same:
    """Attempts as a key for what was worked out of them: equal where all their values are."""

    def __init__(self, shots: Columns) -> None:
        # a copy: a slice would keep all that it was cut from
        whole = shots.take(np.arange(len(shots)))
        self.shots = replace(whole, shot=_in_order(whole.shot))
        self._digest = self.shots.digest()

    def __hash__(self) -> int:
        return hash(self._digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and self._digest == other._digest


@lru_cache(maxsize=1024)
def shot_of(intent: Intent) -> str:
    """What tells a shot from others: its intent, written in one way."""
    return json.dumps(intent.to_dict(), sort_keys=True)


def _reals(values: Sequence[float | None]) -> Reals:
    # None becomes NaN
    return np.array(values, dtype=np.float64)


def _codes(values: Iterable[int | bool | None], *, missing: int = UNKNOWN) -> Codes:
    return np.array([missing if v is None else int(v) for v in values], dtype=np.int32)


def _coded(name: str, values: Iterable[str | None], words: tuple[str, ...]) -> Codes:
    codes: dict[str | None, int] = {word: code for code, word in enumerate(words)}
    codes[None] = UNKNOWN
    try:
        return np.array([codes[value] for value in values], dtype=np.int32)
    except KeyError as wrong:
        raise ValueError(f"{name}: got {wrong}; allowed: {', '.join(words)}") from None


def _numbered(values: Iterable[Any]) -> Codes:
    numbers: dict[Any, int] = {}
    return np.array([numbers.setdefault(v, len(numbers)) for v in values], dtype=np.int32)


def _in_order(codes: Codes) -> Codes:
    """The same things told apart by other numbers: 0 for the first that comes, and so on."""
    _, first, which = np.unique(codes, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int32)
    rank[np.argsort(first)] = np.arange(len(first), dtype=np.int32)
    return rank[which]


def _times(values: Sequence[datetime | str]) -> Times:
    if values and isinstance(values[0], datetime) and values[0].tzinfo is not None:
        values = [v.astimezone(UTC).replace(tzinfo=None) for v in values if isinstance(v, datetime)]
    return np.array(values, dtype="datetime64[us]")


def moment(at: np.datetime64) -> datetime:
    """A time of ``Columns.at`` with its zone."""
    found: datetime = at.astype("datetime64[us]").item()
    return found.replace(tzinfo=UTC)


def joined(parts: Sequence[Columns]) -> Columns:
    """Several one after the other."""
    if not parts:
        return Columns.of_verdicts([])
    names = [each.name for each in fields(Columns)]
    return Columns(**{n: np.concatenate([getattr(part, n) for part in parts]) for n in names})


def known(values: Reals) -> Reals:
    """The values that are known."""
    return values[~np.isnan(values)]
