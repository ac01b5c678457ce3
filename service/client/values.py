"""What the service answers with, as values; ``document`` holds all of it, as it was sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from vision.layout import Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was read in a still."""

    id: int
    still_id: int
    read_at: datetime
    layout: Layout
    document: Mapping[str, Any] = field(repr=False)

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Reading:
        """A reading as the service sends it."""
        return cls(
            id=document["id"],
            still_id=document["still"]["id"],
            read_at=datetime.fromisoformat(document["read_at"]),
            layout=Layout.from_dict(document["layout"], path="layout"),
            document=document,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """A shot compared with its intent; lengths are millimetres of the table frame."""

    id: int
    made_at: datetime
    before_reading_id: int
    after_reading_id: int
    verdict: str | None
    """``in``, ``out`` or ``too close to call``; None where nothing was judged."""
    p_in: float | None
    """Probability that the cue ball lies in the zone, 0 to 1."""
    miss_mm: float | None
    miss_vector_mm: tuple[float, float] | None
    """From the nearest place of the zone to where the cue ball stopped."""
    cue_stop_mm: tuple[float, float] | None
    document: Mapping[str, Any] = field(repr=False)

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Attempt:
        """An attempt as the service sends it."""
        said = document["verdict"]
        return cls(
            id=document["id"],
            made_at=datetime.fromisoformat(document["made_at"]),
            before_reading_id=document["before_reading_id"],
            after_reading_id=document["after_reading_id"],
            verdict=said.get("verdict"),
            p_in=said.get("p_in"),
            miss_mm=said.get("miss_mm"),
            miss_vector_mm=_place(said.get("miss_vector_mm")),
            cue_stop_mm=_place(said.get("cue_stop_mm")),
            document=document,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """What came of a still that was sent."""

    reading: Reading
    attempt: Attempt | None
    """The attempt that it ended; None where none was open."""
    is_replay: bool
    """It had arrived before under the same key: this is the answer that was given then."""
    document: Mapping[str, Any] = field(repr=False)

    @classmethod
    def from_dict(cls, document: Mapping[str, Any], *, is_replay: bool) -> Arrival:
        """The answer to a posted still."""
        attempt = document.get("attempt")
        return cls(
            reading=Reading.from_dict(document["reading"]),
            attempt=None if attempt is None else Attempt.from_dict(attempt),
            is_replay=is_replay,
            document=document,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something new at the service; ``hello`` says that listening has begun, ``gap`` that what
    came between is no longer kept: look at the lists."""

    number: int | None
    """Of the change: ``events(after=…)`` goes on behind it."""
    kind: str
    ids: Mapping[str, int | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What an import did, by kind of row."""

    added: Mapping[str, int]
    """Rows that are new."""
    there: Mapping[str, int]
    """Rows that were there before."""
    numbers: Mapping[str, Mapping[str, int]]
    """Of ``tables`` and ``players``: numbers in the archive, as text, and their numbers here."""

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Moved:
        """An import's answer."""
        return cls(added=document["added"], there=document["there"], numbers=document["numbers"])


def _place(given: Any) -> tuple[float, float] | None:
    return None if given is None else (given[0], given[1])
