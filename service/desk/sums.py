"""What stored attempts add up to: their summary, sessions over weeks, how a player stands.

Figures come from the attempts' plain columns; struck attempts count for nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, TypedDict, Unpack

from service.practice import Progress, Summary
from service.practice.columns import Columns, Same, joined
from service.practice.standing import Standing, standing
from service.practice.statistics.progress import over_sessions, plain_of, sessions_of
from service.practice.statistics.summary import sum_up
from service.store import FIRST, PracticeRecord, Reader, StoreError

SESSIONS_LATELY = 20
_ATTEMPTS_LATELY = 2000
"""No more attempts than these are looked at for a page, however many there are."""


class Which(TypedDict, total=False):
    """Which attempts are meant; what is left out may be any."""

    player_id: int | None
    table_id: int | None
    practice_id: int | None
    since: datetime | None
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lately:
    """The practice that is open, or else the last session, and the sessions up to it."""

    practice: PracticeRecord | None
    """The one that ``now`` is of; None: it is the last session, also before a practice's first."""
    now: Summary
    """Its plain attempts, sets of a row apart, not told apart by kind."""
    last: Columns
    """The attempts of the last ``SESSIONS_LATELY`` sessions."""
    older: bool
    """There are sessions before those."""

    def over_sessions(self) -> Progress:
        """Those sessions; Practice, after each shot, does not ask for them."""
        return _over_sessions(Same(self.last))


def columns_of(reader: Reader, **which: Unpack[Which]) -> Columns:
    """Those attempts as columns."""
    return _columns(reader.figures(**which))


def summary_of(reader: Reader, **which: Unpack[Which]) -> Summary:
    """Summary of those attempts, sets of a row apart."""
    return sum_up(plain_of(columns_of(reader, **which)))


def progress_of(reader: Reader, *, same_shots: bool = False, **which: Unpack[Which]) -> Progress:
    """Sessions over weeks of those attempts."""
    return over_sessions(columns_of(reader, **which), same_shots=same_shots)


def statistics_of(reader: Reader, **which: Unpack[Which]) -> Standing:
    """How the player of those attempts stands."""
    return standing_of(columns_of(reader, **which))


def standing_of(shots: Columns, *, told_apart: bool = True) -> Standing:
    """The same of attempts as columns; what did not change since is not worked out again."""
    return _standing(Same(shots), told_apart)


def lately_of(reader: Reader, *, table_id: int = FIRST) -> Lately:
    """What whoever plays at that table did last, in bounded time."""
    newest = reader.figures(player_id=reader.table(table_id).player_id, newest=_ATTEMPTS_LATELY)
    shots = _columns(newest)
    practice = reader.open_practice(table_id)
    now: Columns | None = None
    if practice is not None:
        now = _columns(reader.figures(practice_id=practice.id, newest=_ATTEMPTS_LATELY))
        practice = practice if len(now) else None
    sessions = sessions_of(shots)
    is_cut = len(shots) == _ATTEMPTS_LATELY and len(sessions) > 1
    whole = sessions[1:] if is_cut else sessions
    last = whole[-SESSIONS_LATELY:]
    if practice is None or now is None:
        now = last[-1] if last else shots
    return Lately(
        practice=practice,
        now=_summed(Same(plain_of(now))),
        last=joined(last),
        older=is_cut or len(whole) > len(last),
    )


def _columns(figures: Mapping[str, Sequence[Any]]) -> Columns:
    try:
        return Columns.of(figures)
    except ValueError as wrong:
        raise StoreError(
            f"attempts: a figure cannot be read ({wrong}). It is damaged; allowed: a verdict as it "
            "was stored. Put restmark.db back from your copy."
        ) from None


@lru_cache(maxsize=8)
def _summed(shots: Same) -> Summary:
    """A page is asked for again and again; only a shot, a note or a strike changes its figures."""
    return sum_up(shots.shots, told_apart=False)


@lru_cache(maxsize=8)
def _standing(shots: Same, told_apart: bool) -> Standing:
    return standing(shots.shots, told_apart=told_apart)


@lru_cache(maxsize=8)
def _over_sessions(shots: Same) -> Progress:
    return over_sessions(shots.shots)
