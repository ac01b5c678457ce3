"""Sessions over weeks, and how a player stands: what may be claimed, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from service.clock import day_of
from service.practice.statistics.jackknife import INTERVAL_LEAST

from .kinds import FiguresRow, figures_row, kind_lines
from .landing import SIDES, between, sided_between, weak_side_fact
from .lengths import LEFT_RIGHT, LONG_SHORT, MILLIMETRES, Lengths
from .plain import capital, counted, more, p_words, percent, percent_between
from .summary import rate_interval, summary_lines

if TYPE_CHECKING:
    from service.practice import Progress
    from service.practice.standing import Standing
    from service.practice.statistics.means import Mean, Share
    from service.practice.statistics.progress import NamedTrend, SessionFigures
    from service.practice.statistics.rates import Rate
    from service.practice.statistics.trend import RateTrend
    from service.practice.statistics.weak_side import WeakSide

SESSIONS_FOR_A_TREND = 5
_TOO_EARLY = " (too few sessions for an interval)"
_TREND_NAMES = {
    "speed spread": "spread long or short (speed)",
    "line spread": "spread left or right (line)",
    "half-within distance": "distance that holds half of the stops (half-within distance)",
}
"""What a player understands first, by the figure's name where that is a term."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """One session's figures as short texts; a dash where too few attempts say nothing."""

    number: int
    day: str
    pots: str
    miss: str
    """Average miss, without its unit."""
    from_wanted: str
    """Average distance from the wanted spot, every stop counted."""
    figures: FiguresRow


def session_rows(
    sessions: Sequence[SessionFigures], lengths: Lengths = MILLIMETRES
) -> list[SessionRow]:
    """A row a session, oldest first."""
    return [_row(session, lengths) for session in sessions]


def progress_lines(found: Progress, lengths: Lengths = MILLIMETRES) -> list[str]:
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
                [s.zone for s in found.sessions],
                found.zone_trend,
                found.long_run.zone,
            ),
            *_rate_lines(
                "Pots made",
                [s.pots for s in found.sessions],
                found.pots_trend,
                found.long_run.pots,
            ),
            *_long_run_lines(found, lengths),
            *_trend_lines(found.trends, lengths),
            f"{weak_side_fact(found.weak_side).line}; each session about its own average.",
            *kind_lines(found.by_kind),
        ]
    return lines + _set_lines(found)


def standing_headline(found: Standing) -> str:
    """The weak side, or how many more attempts would show it."""
    return weak_side_headline(found.weak_side)


def weak_side_headline(weak: WeakSide) -> str:
    """The same of the figure alone."""
    if weak.side is not None:
        return f"Weak side: {SIDES[weak.side]}"
    if weak.attempts_missing:
        return f"Weak side not yet known: about {more(weak.attempts_missing)}"
    if weak.ratio is None:
        missing = more(max(INTERVAL_LEAST - weak.n, 1))
        return f"Weak side not yet known: {missing} with a known arrival line"
    return "Weak side not yet known: speed and line scatter about alike"


def standing_lines(found: Standing, lengths: Lengths = MILLIMETRES) -> list[str]:
    """All that is said, the headline first."""
    if not found.attempts:
        return ["No plain attempts are stored yet.", *_in_sets(found)]
    return [
        f"{standing_headline(found)}.",
        *(
            line
            for label, rate in (
                ("Pots made", found.apart.pot),
                ("In position", found.apart.position),
                ("Both", found.apart.both),
                ("In position when the pot was made", found.apart.position_when_potted),
                ("In position when it was missed", found.apart.position_when_missed),
            )
            if (line := _standing_rate(label, rate))
        ),
        *summary_lines(found.summary, lengths),
        f"{weak_side_fact(found.weak_side).line}; each session about its own average.",
        *kind_lines(found.summary.by_kind),
        *_in_sets(found),
    ]


def _span(found: Progress) -> str:
    days = [day_of(session.started_at).isoformat() for session in found.sessions]
    span = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    left_out = f"; {found.left_out} of other shots left out" if found.left_out else ""
    shots = found.different_shots
    return (
        f"{counted(len(days), 'session')}, {span}, {counted(found.attempts, 'attempt')} of "
        f"{'one shot' if shots == 1 else f'{shots} different shots'}{left_out}."
    )


def _rate_lines(
    label: str, counts: Sequence[tuple[int, int]], trend: RateTrend, whole: Share
) -> list[str]:
    if whole.mean is None:
        return []
    text = f"{label} {sum(k for k, _ in counts)} of {sum(n for _, n in counts)} in all"
    if whole.low is not None and whole.high is not None:
        text += (
            f", over sessions {percent(whole.mean)} (95 % interval "
            f"{percent_between(whole.low, whole.high)})"
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
    return f"; about {more(trend.sessions_missing, 'session')} like these would show one"


def _until(missing: int | None) -> str:
    return f"Sessions until a trend can be claimed: at least {missing} more (five are needed)."


def _long_run_lines(found: Progress, lengths: Lengths) -> list[str]:
    run = found.long_run
    lines = []
    if run.long_short.mean_mm is not None and run.left_right.mean_mm is not None:
        along = _mean_words(run.long_short, LONG_SHORT, lengths)
        across = _mean_words(run.left_right, LEFT_RIGHT, lengths)
        lines.append(f"Average stop over all sessions, against the wanted spot: {along}; {across}.")
    for mean, what, where in (
        (run.average_miss, "miss", "outside the zone"),
        (run.from_wanted, "distance", "from the wanted spot, every stop counted"),
    ):
        if mean.mean_mm is not None:
            interval = between(mean, lengths) or _TOO_EARLY
            lines.append(
                f"Average {what} over all sessions {lengths.text(mean.mean_mm)} {where}{interval}."
            )
    return lines


def _mean_words(mean: Mean, ends: tuple[str, str], lengths: Lengths) -> str:
    assert mean.mean_mm is not None
    interval = sided_between(mean, ends, lengths)
    tail = f" (95 % interval {interval})" if interval else _TOO_EARLY
    return lengths.sided(mean.mean_mm, ends) + tail


def _trend_lines(trends: Sequence[NamedTrend], lengths: Lengths) -> list[str]:
    lines, without = [], []
    for named in trends:
        trend = named.trend
        figure = _TREND_NAMES.get(named.figure, named.figure)
        if trend.slope is None or trend.low is None or trend.high is None:
            continue
        if not named.claimed or named.p_adjusted is None:
            without.append(figure)
            continue
        slope, low, high = map(lengths.change, (trend.slope, trend.low, trend.high))
        lines.append(
            f"{capital(figure)}: {slope} {lengths.sign} a session (95 % interval {low} to {high}; "
            f"{p_words(named.p_adjusted)}, corrected for looking at {len(trends)} figures)."
        )
    if without:
        lines.append(f"No trend can be claimed in {', '.join(without)}.")
    return lines


def _set_lines(found: Progress) -> list[str]:
    return [
        f"{day_of(each.started_at).isoformat()}: sets of {each.sets.in_a_row} in a row, "
        f"{counted(each.sets.completions, 'completion')}, longest run {each.sets.longest_run}, "
        f"{counted(each.sets.attempts, 'attempt')}; not pooled with plain repeats."
        for each in found.sets
    ]


def _row(session: SessionFigures, lengths: Lengths) -> SessionRow:
    means_mm = (session.long_short_mm, session.left_right_mm)
    spreads_mm = (session.speed_mm, session.line_mm)
    return SessionRow(
        number=session.number,
        day=day_of(session.started_at).isoformat(),
        pots=f"{session.pots[0]} of {session.pots[1]}",
        miss=lengths.number_or_none(session.average_miss_mm),
        from_wanted=lengths.number_or_none(session.from_wanted_mm),
        figures=figures_row(session.attempts, session.zone_rate, means_mm, spreads_mm, lengths),
    )


def _standing_rate(label: str, rate: Rate) -> str:
    """Few attempts get counts and interval only: a rate would be no claim yet."""
    if not rate.n:
        return ""
    share = "" if rate.attempts_missing or rate.share is None else f", {percent(rate.share)}"
    missing = f"; known after {more(rate.attempts_missing)}" if rate.attempts_missing else ""
    return (
        f"{label}: {rate.successes} of {rate.n}{share} (95 % interval {rate_interval(rate)}"
        f"{missing})."
    )


def _in_sets(found: Standing) -> list[str]:
    if not found.in_sets:
        return []
    return [f"{counted(found.in_sets, 'attempt')} in sets of a row are not among these."]
