"""Sessions over weeks: each with its figures, trends between them, and what holds in the long run.

Attempts played less than three hours after the one before belong to the same session. Sets of
successes in a row are told apart and never pooled with plain repeats: their pressure is another
task. Trends are only as fair as the shots are the same; how many different shots there were is
said, and ``same_shots`` keeps to those played in every session.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from service.position.verdict.verdict import Verdict
from service.practice.columns import IN, UNKNOWN, Columns, Marks, Same, joined, moment
from service.practice.kinds import ShotKind

from .by_kind import Split, by_kind, holm
from .long_run import LongRun, mean_over_sessions, share_over_sessions
from .means import middle_of, sigma_of
from .outcomes import (
    misses_mm,
    off_wanted_mm,
    offsets_mm,
    pots_made,
    successes,
    zone_decided,
)
from .plain import plain
from .rates import LEVEL, Rate, Sets, rate, sets
from .summary import Summary, sum_up
from .trend import RateTrend, Trend, rate_trend, trend
from .weak_side import WeakSide, weak_side_within
from .within import HALF, radius_of_average

SESSION_GAP = timedelta(hours=3)
"""A longer pause starts another session."""
_SESSIONS_REMEMBERED = 2048


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A scored attempt with the time it was played."""

    at: datetime
    verdict: Verdict
    kind: ShotKind | None = None
    in_a_row: int | None = None
    """The attempt belonged to a set of so many successes in a row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFigures:
    """One session of plain attempts: its figures without intervals, for trends and tables."""

    number: int
    started_at: datetime
    ended_at: datetime
    attempts: int
    zone: tuple[int, int]
    """Stops in the zone, of how many."""
    pots: tuple[int, int]
    average_miss_mm: float | None
    from_wanted_mm: float | None
    long_short_mm: float | None
    left_right_mm: float | None
    speed_mm: float | None
    """Spread long or short."""
    line_mm: float | None
    half_within_mm: float | None
    shots: Columns = field(repr=False, compare=False)

    @classmethod
    def of(cls, number: int, shots: Columns) -> SessionFigures:
        """The figures of one session's attempts."""
        decided, spots = zone_decided(shots), offsets_mm(shots)
        along, across = np.ascontiguousarray(spots.T)
        return cls(
            number=number,
            started_at=moment(shots.at[0]),
            ended_at=moment(shots.at[-1]),
            attempts=len(shots),
            zone=(_count(decided & (shots.called == IN)), _count(decided)),
            pots=(_count(pots_made(shots)), _count(shots.pot != UNKNOWN)),
            average_miss_mm=middle_of(misses_mm(shots)),
            from_wanted_mm=middle_of(off_wanted_mm(shots)),
            long_short_mm=middle_of(along),
            left_right_mm=middle_of(across),
            speed_mm=sigma_of(along),
            line_mm=sigma_of(across),
            half_within_mm=radius_of_average(spots, HALF),
            shots=shots,
        )

    @property
    def zone_rate(self) -> Rate:
        """The rate in the zone with its interval."""
        return rate(*self.zone)

    @property
    def summary(self) -> Summary:
        """Everything that its attempts say, intervals included: some milliseconds of work."""
        return _summary(Same(self.shots))

    def to_dict(self) -> dict[str, Any]:
        """JSON object with the whole summary."""
        return {
            "number": self.number,
            "started_at": self.started_at.isoformat(),
            "ended_at": self.ended_at.isoformat(),
            "summary": self.summary.to_dict(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class SetFigures:
    """The sets of one session."""

    started_at: datetime
    sets: Sets


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedTrend:
    """Trend of one figure; its p-value after Holm's correction for all that are looked at."""

    figure: str
    trend: Trend
    p_adjusted: float | None
    claimed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """What stored sessions say together."""

    attempts: int
    """Plain attempts in ``sessions``."""
    different_shots: int
    """How many different intents they had."""
    same_shots: bool
    """Only shots that were played in every session are counted."""
    shots_vary: bool
    """Not every session had the same shots: a trend may be that of the shots."""
    left_out: int
    """Plain attempts left out because their shot was not played in every session."""
    sessions: tuple[SessionFigures, ...]
    sets: tuple[SetFigures, ...]
    zone_trend: RateTrend
    pots_trend: RateTrend
    trends: tuple[NamedTrend, ...]
    long_run: LongRun
    weak_side: WeakSide
    """Speed against line, each session about its own average."""
    by_kind: tuple[Split, ...]

    def to_dict(self, *, newest: int | None = None) -> dict[str, Any]:
        """JSON object; times in ISO 8601. ``newest``: so many sessions are told in full."""
        told = self.sessions if newest is None else self.sessions[-newest:]
        out = {each.name: getattr(self, each.name) for each in fields(self)}
        out["sessions"] = [session.to_dict() for session in told]
        out["sessions_left_out"] = len(self.sessions) - len(told)
        return {name: plain(value) for name, value in out.items()}


def progress(played: Sequence[Played], *, same_shots: bool = False) -> Progress:
    """Figures of attempts in the order of their times."""
    shots = Columns.of_verdicts(
        [attempt.verdict for attempt in played],
        kinds=[attempt.kind for attempt in played],
        at=[attempt.at for attempt in played],
        in_a_row=[attempt.in_a_row for attempt in played],
    )
    return over_sessions(shots, same_shots=same_shots)


def over_sessions(shots: Columns, *, same_shots: bool = False) -> Progress:
    """The same of attempts as columns."""
    sessions = sessions_of(shots.take(np.argsort(shots.at, kind="stable")))
    repeats = [plain_of(session) for session in sessions]
    repeats = [session for session in repeats if len(session)]
    before = sum(map(len, repeats))
    if same_shots:
        repeats = _kept(repeats)
    counted = sum(map(len, repeats))
    figures = tuple(SessionFigures.of(i, session) for i, session in enumerate(repeats, start=1))
    different = {frozenset(session.shot.tolist()) for session in repeats}
    return Progress(
        attempts=counted,
        different_shots=len(frozenset().union(*different)),
        same_shots=same_shots,
        shots_vary=len(different) > 1,
        left_out=before - counted,
        sessions=figures,
        sets=tuple(found for session in sessions for found in _sets(session)),
        zone_trend=rate_trend([s.zone[0] for s in figures], [s.zone[1] for s in figures]),
        pots_trend=rate_trend([s.pots[0] for s in figures], [s.pots[1] for s in figures]),
        trends=_trends(figures),
        long_run=_long_run(figures),
        weak_side=weak_side_within([offsets_mm(session) for session in repeats]),
        by_kind=by_kind(joined(repeats)),
    )


def sessions_of(shots: Columns) -> list[Columns]:
    """Attempts in the order of their times, session by session."""
    if not len(shots):
        return []
    pauses = np.diff(shots.at) > np.timedelta64(SESSION_GAP)
    ends = [*(np.flatnonzero(pauses) + 1).tolist(), len(shots)]
    starts = [0, *ends[:-1]]
    return [shots.take(slice(start, end)) for start, end in zip(starts, ends, strict=True)]


def plain_of(shots: Columns) -> Columns:
    """Without those that belonged to sets of a row."""
    return shots.take(shots.in_a_row == 0) if shots.in_a_row.any() else shots


def _kept(sessions: list[Columns]) -> list[Columns]:
    """Only the shots of every session; sessions are never dropped for lacking one."""
    if not sessions:
        return []
    common = set.intersection(*(set(session.shot.tolist()) for session in sessions))
    kept = [session.take(np.isin(session.shot, list(common))) for session in sessions]
    return [session for session in kept if len(session)]


@lru_cache(maxsize=_SESSIONS_REMEMBERED)
def _summary(session: Same) -> Summary:
    """Past sessions seldom change, and only the last one need be summed up anew."""
    return sum_up(session.shots, told_apart=False)


def _sets(session: Columns) -> list[SetFigures]:
    """One entry for each length of row that the session's sets had."""
    lengths = dict.fromkeys(session.in_a_row[session.in_a_row > 0].tolist())
    out = []
    for length in lengths:
        mine = session.take(session.in_a_row == length)
        found = sets(successes(mine).tolist(), length)
        out.append(SetFigures(started_at=moment(mine.at[0]), sets=found))
    return out


_FIGURES: tuple[tuple[str, Callable[[SessionFigures], float | None]], ...] = (
    ("average miss", lambda s: s.average_miss_mm),
    ("long or short", lambda s: s.long_short_mm),
    ("left or right", lambda s: s.left_right_mm),
    ("speed spread", lambda s: s.speed_mm),
    ("line spread", lambda s: s.line_mm),
    ("half-within distance", lambda s: s.half_within_mm),
)
"""Figures whose trends are looked at, all in mm."""


def _trends(figures: Sequence[SessionFigures]) -> tuple[NamedTrend, ...]:
    found = [(name, trend([read(s) for s in figures])) for name, read in _FIGURES]
    tested = [t.p_value for _, t in found if t.p_value is not None]
    adjusted = iter(holm(tested))
    out = []
    for name, each in found:
        p_value = None if each.p_value is None else next(adjusted)
        claimed = p_value is not None and p_value < 1 - LEVEL
        out.append(NamedTrend(figure=name, trend=each, p_adjusted=p_value, claimed=claimed))
    return tuple(out)


def _long_run(figures: Sequence[SessionFigures]) -> LongRun:
    shots = [session.shots for session in figures]
    offsets = [offsets_mm(each) for each in shots]
    zones, pots = [s.zone for s in figures], [s.pots for s in figures]
    return LongRun(
        zone=share_over_sessions([k for k, _ in zones], [n for _, n in zones]),
        pots=share_over_sessions([k for k, _ in pots], [n for _, n in pots]),
        average_miss=mean_over_sessions([misses_mm(each) for each in shots], nonnegative=True),
        from_wanted=mean_over_sessions([off_wanted_mm(each) for each in shots], nonnegative=True),
        long_short=mean_over_sessions([each[:, 0] for each in offsets]),
        left_right=mean_over_sessions([each[:, 1] for each in offsets]),
    )


def _count(marks: Marks) -> int:
    return int(np.count_nonzero(marks))
