"""Sessions over weeks in sentences: what may be claimed, and how many sessions are missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .kind_words import kind_lines
from .summary_words import p_words, rate_interval, weak_side_line
from .words import percent, signed

if TYPE_CHECKING:
    from service.practice import Progress
    from service.practice.statistics.means import Mean, Share
    from service.practice.statistics.progress import NamedTrend, SessionFigures
    from service.practice.statistics.rates import Rate
    from service.practice.statistics.trend import RateTrend

SESSIONS_FOR_A_TREND = 5
_TOO_EARLY = " (too few sessions for an interval)"


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """One session's figures as short texts; a dash where too few attempts say nothing."""

    number: int
    day: str
    attempts: int
    zone: str
    interval: str
    pots: str
    miss: str
    long_short: str
    left_right: str
    speed: str
    line: str


def session_rows(sessions: Sequence[SessionFigures]) -> list[SessionRow]:
    """A row a session, oldest first."""
    return [_row(session) for session in sessions]


def progress_lines(found: Progress) -> list[str]:
    """All that may be said over the sessions, bias before spread, and what is missing."""
    if not found.sessions:
        lines = ["No plain attempts are stored yet."]
    else:
        lines = [_span(found)]
        if found.shots_vary:
            lines.append(
                "The shots were not the same in every session: a trend may be that of the shots."
            )
        lines += [
            *_rate_lines(
                "In the zone",
                [s.summary.zone for s in found.sessions],
                found.zone_trend,
                found.long_run.zone,
            ),
            *_rate_lines(
                "Pots made",
                [s.summary.pots for s in found.sessions],
                found.pots_trend,
                found.long_run.pots,
            ),
            *_long_run_lines(found),
            *_trend_lines(found.trends),
            weak_side_line(found.weak_side, "Speed against line, each session about its own mean"),
            *kind_lines(found.by_kind),
        ]
    return lines + _set_lines(found)


def _span(found: Progress) -> str:
    days = [session.started_at.date().isoformat() for session in found.sessions]
    span = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    left_out = f"; {found.left_out} of other shots left out" if found.left_out else ""
    shots = found.different_shots
    return (
        f"{_count(len(days), 'session')}, {span}, {_count(found.attempts, 'attempt')} of "
        f"{'one shot' if shots == 1 else f'{shots} different shots'}{left_out}."
    )


def _rate_lines(label: str, rates: Sequence[Rate], trend: RateTrend, whole: Share) -> list[str]:
    if whole.mean is None:
        return []
    text = f"{label} {sum(r.successes for r in rates)} of {sum(r.n for r in rates)} in all"
    if whole.low is not None and whole.high is not None:
        text += (
            f", over sessions {percent(whole.mean)} (95 % interval {100 * whole.low:.0f} to "
            f"{100 * whole.high:.0f} %)"
        )
    return [f"{text}. {_rate_trend_words(trend)}"]


def _rate_trend_words(trend: RateTrend) -> str:
    if trend.p_value is None or trend.low is None or trend.high is None:
        if trend.sessions < SESSIONS_FOR_A_TREND:
            return _until(trend.sessions_missing)
        return "All the same in every session: no trend to speak of."
    assert trend.first_share is not None
    assert trend.last_share is not None
    text = (
        f"Fitted {percent(trend.first_share)} in the first session, {percent(trend.last_share)} in "
        f"the last: odds × {trend.odds_ratio:.2f} a session (95 % interval {trend.low:.2f} to "
        f"{trend.high:.2f})."
    )
    if trend.claimed:
        return f"{text} That is a trend ({p_words(trend.p_value)})."
    return f"{text} No trend can be claimed ({p_words(trend.p_value)}){_more(trend)}."


def _more(trend: RateTrend) -> str:
    if trend.sessions_missing is None:
        return "; none is in sight"
    more = _count(trend.sessions_missing, "more session")
    return f"; about {more} like these would show one"


def _until(missing: int | None) -> str:
    return f"Sessions until a trend can be claimed: at least {missing} more (five are needed)."


def _long_run_lines(found: Progress) -> list[str]:
    run = found.long_run
    lines = []
    if run.long_short.mean_mm is not None and run.left_right.mean_mm is not None:
        lines.append(
            "Average landing spot over all sessions, long + and left + against the wanted spot: "
            f"{_mean_words(run.long_short)} and {_mean_words(run.left_right)}."
        )
    miss = run.average_miss
    if miss.mean_mm is not None:
        between = _TOO_EARLY
        if miss.low_mm is not None and miss.high_mm is not None:
            between = f" (95 % interval {miss.low_mm:.0f} to {miss.high_mm:.0f} mm)"
        lines.append(f"Average miss over all sessions {miss.mean_mm:.0f} mm{between}.")
    return lines


def _mean_words(mean: Mean) -> str:
    assert mean.mean_mm is not None
    text = f"{signed(mean.mean_mm)} mm"
    if mean.low_mm is None or mean.high_mm is None:
        return f"{text}{_TOO_EARLY}"
    return f"{text} (95 % interval {signed(mean.low_mm)} to {signed(mean.high_mm)})"


def _trend_lines(trends: Sequence[NamedTrend]) -> list[str]:
    lines, without = [], []
    for named in trends:
        trend = named.trend
        if trend.slope is None or trend.low is None or trend.high is None:
            continue
        if not named.claimed or named.p_adjusted is None:
            without.append(named.figure)
            continue
        lines.append(
            f"{named.figure.capitalize()}: {signed(trend.slope, 1)} mm a session (95 % interval "
            f"{signed(trend.low, 1)} to {signed(trend.high, 1)}; {p_words(named.p_adjusted)}, "
            f"corrected for looking at {len(trends)} figures)."
        )
    if without:
        lines.append(f"No trend can be claimed in {', '.join(without)}.")
    return lines


def _set_lines(found: Progress) -> list[str]:
    return [
        f"{each.started_at.date().isoformat()}: sets of {each.sets.in_a_row} in a row, "
        f"{_count(each.sets.completions, 'completion')}, longest run {each.sets.longest_run}, "
        f"{_count(each.sets.attempts, 'attempt')}; not pooled with plain repeats."
        for each in found.sets
    ]


def _row(session: SessionFigures) -> SessionRow:
    summary = session.summary
    landing = summary.landing
    means = [landing.long_short.mean_mm, landing.left_right.mean_mm]
    lengths = [summary.average_miss.mean_mm, landing.speed.sigma_mm, landing.line.sigma_mm]
    along, across = ("–" if value is None else signed(value) for value in means)
    miss, speed, line = ("–" if value is None else f"{value:.0f}" for value in lengths)
    return SessionRow(
        number=session.number,
        day=session.started_at.date().isoformat(),
        attempts=summary.attempts,
        zone=f"{summary.zone.successes} of {summary.zone.n}",
        interval=rate_interval(summary.zone).removeprefix("95 % interval "),
        pots=f"{summary.pots.successes} of {summary.pots.n}",
        miss=miss,
        long_short=along,
        left_right=across,
        speed=speed,
        line=line,
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
