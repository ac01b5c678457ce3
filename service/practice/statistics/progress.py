"""Sessions over weeks: each with its figures, trends between them, and what holds in the long run.

Attempts played less than three hours after the one before belong to the same session. Sets of
successes in a row are told apart and never pooled with plain repeats: their pressure is another
task. Trends are only as fair as the shots are the same; how many different shots there were is
said, and ``same_shots`` keeps to those played in every session.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from service.position.meant.intent import Intent
from service.position.verdict.score import Verdict
from service.practice.kinds import ShotKind

from .by_kind import Split, by_kind, holm
from .long_run import LongRun, mean_over_sessions, share_over_sessions
from .outcomes import misses_mm, off_wanted_mm, offsets_mm
from .plain import plain
from .rates import LEVEL, Sets
from .summary import Summary, summarise
from .trend import RateTrend, Trend, rate_trend, trend
from .weak_side import WeakSide, weak_side_within

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

    @property
    def shot(self) -> str:
        """What tells this shot from others: its intent."""
        return "" if self.verdict.intent is None else _shot(self.verdict.intent)


@lru_cache(maxsize=1024)
def _shot(intent: Intent) -> str:
    return json.dumps(intent.to_dict(), sort_keys=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFigures:
    """One session of plain attempts."""

    number: int
    started_at: datetime
    ended_at: datetime
    summary: Summary


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

    def to_dict(self) -> dict[str, Any]:
        """JSON object; times in ISO 8601."""
        out: dict[str, Any] = plain(asdict(self))
        return out


def progress(played: Sequence[Played], *, same_shots: bool = False) -> Progress:
    """Figures of attempts in the order of their times."""
    ordered = sorted(played, key=lambda attempt: attempt.at)
    sessions = _sessions(ordered)
    repeats = [[a for a in session if a.in_a_row is None] for session in sessions]
    repeats = [session for session in repeats if session]
    before = sum(map(len, repeats))
    if same_shots:
        repeats = _kept(repeats)
    everything = [attempt for session in repeats for attempt in session]
    figures = tuple(_figures(i, session) for i, session in enumerate(repeats, start=1))
    return Progress(
        attempts=len(everything),
        different_shots=len({attempt.shot for attempt in everything}),
        same_shots=same_shots,
        shots_vary=len({frozenset(a.shot for a in session) for session in repeats}) > 1,
        left_out=before - len(everything),
        sessions=figures,
        sets=tuple(found for session in sessions for found in _sets(session)),
        zone_trend=_rate_trend(figures, lambda s: (s.zone.successes, s.zone.n)),
        pots_trend=_rate_trend(figures, lambda s: (s.pots.successes, s.pots.n)),
        trends=_trends(figures),
        long_run=_long_run(repeats, figures),
        weak_side=weak_side_within([offsets_mm([a.verdict for a in s]) for s in repeats]),
        by_kind=by_kind([a.verdict for a in everything], [a.kind for a in everything]),
    )


def _sessions(ordered: Sequence[Played]) -> list[list[Played]]:
    out: list[list[Played]] = []
    for attempt in ordered:
        if not out or attempt.at - out[-1][-1].at > SESSION_GAP:
            out.append([])
        out[-1].append(attempt)
    return out


def _kept(sessions: list[list[Played]]) -> list[list[Played]]:
    """Only the shots of every session; sessions are never dropped for lacking one."""
    if not sessions:
        return []
    common = set.intersection(*({a.shot for a in session} for session in sessions))
    kept = [[a for a in session if a.shot in common] for session in sessions]
    return [session for session in kept if session]


def _figures(number: int, session: Sequence[Played]) -> SessionFigures:
    return SessionFigures(
        number=number,
        started_at=session[0].at,
        ended_at=session[-1].at,
        summary=_summary(_These(tuple(attempt.verdict for attempt in session))),
    )


class _These:
    """Verdicts, the same only as themselves: what was summed up once is not summed up again."""

    def __init__(self, verdicts: tuple[Verdict, ...]) -> None:
        self.verdicts = verdicts
        self._key = tuple(map(id, verdicts))

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _These) and self._key == other._key


@lru_cache(maxsize=_SESSIONS_REMEMBERED)
def _summary(session: _These) -> Summary:
    """Past sessions do not change, and only the last one need be summed up anew."""
    return summarise(session.verdicts)


def _sets(session: Sequence[Played]) -> list[SetFigures]:
    """One entry for each length of row that the session's sets had."""
    lengths = dict.fromkeys(a.in_a_row for a in session if a.in_a_row is not None)
    out = []
    for length in lengths:
        mine = [a for a in session if a.in_a_row == length]
        found = summarise([a.verdict for a in mine], in_a_row=length).sets
        assert found is not None
        out.append(SetFigures(started_at=mine[0].at, sets=found))
    return out


def _rate_trend(
    figures: Sequence[SessionFigures], counts: Callable[[Summary], tuple[int, int]]
) -> RateTrend:
    pairs = [counts(session.summary) for session in figures]
    return rate_trend([k for k, _ in pairs], [n for _, n in pairs])


_FIGURES: tuple[tuple[str, Callable[[Summary], float | None]], ...] = (
    ("average miss", lambda s: s.average_miss.mean_mm),
    ("long or short", lambda s: s.landing.long_short.mean_mm),
    ("left or right", lambda s: s.landing.left_right.mean_mm),
    ("speed spread", lambda s: s.landing.speed.sigma_mm),
    ("line spread", lambda s: s.landing.line.sigma_mm),
    ("half-within distance", lambda s: s.landing.half_within_mm),
)
"""Figures whose trends are looked at, all in mm."""


def _trends(figures: Sequence[SessionFigures]) -> tuple[NamedTrend, ...]:
    found = [(name, trend([read(s.summary) for s in figures])) for name, read in _FIGURES]
    tested = [t.p_value for _, t in found if t.p_value is not None]
    adjusted = iter(holm(tested))
    out = []
    for name, each in found:
        p_value = None if each.p_value is None else next(adjusted)
        claimed = p_value is not None and p_value < 1 - LEVEL
        out.append(NamedTrend(figure=name, trend=each, p_adjusted=p_value, claimed=claimed))
    return tuple(out)


def _long_run(sessions: Sequence[Sequence[Played]], figures: Sequence[SessionFigures]) -> LongRun:
    verdicts = [[attempt.verdict for attempt in session] for session in sessions]
    offsets = [offsets_mm(session) for session in verdicts]
    zones = [session.summary.zone for session in figures]
    pots = [session.summary.pots for session in figures]
    return LongRun(
        zone=share_over_sessions([r.successes for r in zones], [r.n for r in zones]),
        pots=share_over_sessions([r.successes for r in pots], [r.n for r in pots]),
        average_miss=mean_over_sessions([misses_mm(v) for v in verdicts], nonnegative=True),
        from_wanted=mean_over_sessions([off_wanted_mm(v) for v in verdicts], nonnegative=True),
        long_short=mean_over_sessions([[a for a, _ in o] for o in offsets]),
        left_right=mean_over_sessions([[c for _, c in o] for o in offsets]),
    )
