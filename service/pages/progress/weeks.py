"""Sessions over weeks as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from service.clock import day_of
from service.desk.sums import Lately
from service.drawing.charts.sessions import SessionPoint, sessions_svg
from service.practice.statistics.progress import SessionFigures
from service.words.kinds import headings
from service.words.lengths import Lengths
from service.words.progress import SessionRow, progress_lines, session_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgressView:
    """Sessions over weeks: the drawing, a row a session, and what may be said."""

    svg: Markup
    headings: tuple[str, ...]
    rows: tuple[SessionRow, ...]
    lines: tuple[str, ...]
    older: bool
    """There are sessions before these."""


def progress_view(lately: Lately, lengths: Lengths) -> ProgressView | None:
    """The last sessions; None until there is a second one, or a set."""
    found = lately.over_sessions()
    if len(found.sessions) < 2 and not found.sets:
        return None
    counted = [session for session in found.sessions if session.zone[1]]
    trend = found.zone_trend
    fitted = None
    if trend.first_share is not None and trend.last_share is not None:
        fitted = (trend.first_share, trend.last_share)
    drawn = sessions_svg([_session_point(session) for session in counted], fitted=fitted)
    rows = session_rows(found.sessions, lengths)[::-1]
    return ProgressView(
        svg=Markup(drawn),
        headings=tuple(headings(lengths)),
        rows=tuple(rows),
        lines=tuple(progress_lines(found, lengths)),
        older=lately.older,
    )


def _session_point(session: SessionFigures) -> SessionPoint:
    zone = session.zone_rate
    assert zone.low is not None
    assert zone.high is not None
    return SessionPoint(
        label=day_of(session.started_at).isoformat(),
        successes=zone.successes,
        n=zone.n,
        low=zone.low,
        high=zone.high,
    )
