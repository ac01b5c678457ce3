"""The rate in the zone, session by session, each with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from service.words.plain import percent, percent_between

from ..svg import add, points, root, text_of

_WIDE, _HIGH = 720.0, 260.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 16.0, 16.0, 34.0
_INK = "var(--soft,var(--muted,#667))"
_LINE = "var(--edge,var(--rule,#bbb))"
_ACCENT = "var(--accent,#277)"
_MOST_LABELS = 12
_CURVE_STEPS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPoint:
    """One session's rate with its 95 % interval, shares from 0 to 1."""

    label: str
    successes: int
    n: int
    low: float
    high: float


def sessions_svg(
    sessions: Sequence[SessionPoint], *, fitted: tuple[float, float] | None = None
) -> str:
    """A dot a session with its interval; ``fitted`` draws the trend from first to last."""
    words = "; ".join(_words(each) for each in sessions)
    svg = root(
        (0, 0, _WIDE, _HIGH), int(_WIDE), title="Rate in the zone by session",
        description=words or "no sessions", kind="sessions",
    )  # fmt: skip
    _draw_scale(svg)
    if fitted is not None and len(sessions) > 1:
        _draw_fit(svg, fitted, len(sessions))
    step = math.ceil(len(sessions) / _MOST_LABELS) if sessions else 1
    for i, each in enumerate(sessions):
        _draw_session(svg, each, _across(i, len(sessions)), is_labelled=i % step == 0)
    return text_of(svg)


def _draw_scale(svg: ET.Element) -> None:
    grid, texts = add(svg, "g", stroke=_LINE), add(svg, "g", font_size=12, fill=_INK)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = _up(share)
        add(grid, "line", x1=_LEFT, x2=_WIDE - _RIGHT, y1=y, y2=y)
        add(texts, "text", percent(share), x=_LEFT - 8, y=y + 4, text_anchor="end")


def _draw_fit(svg: ET.Element, fitted: tuple[float, float], count: int) -> None:
    """Straight in log odds, hence a curve here."""
    first, last = (math.log(share / (1 - share)) for share in fitted)
    curve = []
    for i in range(_CURVE_STEPS + 1):
        part = i / _CURVE_STEPS
        share = 1 / (1 + math.exp(-(first + part * (last - first))))
        curve.append((_across(part * (count - 1), count), _up(share)))
    add(
        svg, "polyline", points=points(curve), stroke_width=2, stroke_dasharray="6 4",
        stroke=_ACCENT, fill="none",
    )  # fmt: skip


def _draw_session(svg: ET.Element, each: SessionPoint, x: float, *, is_labelled: bool) -> None:
    group = add(svg, "g", stroke=_ACCENT, fill=_ACCENT)
    add(group, "title", _words(each))
    add(group, "line", x1=x, x2=x, y1=_up(each.low), y2=_up(each.high), stroke_width=2)
    for end in (each.low, each.high):
        add(group, "line", x1=x - 5, x2=x + 5, y1=_up(end), y2=_up(end), stroke_width=2)
    add(group, "circle", cx=x, cy=_up(each.successes / each.n), r=5)
    if is_labelled:
        add(
            svg, "text", each.label, x=x, y=_HIGH - 10, text_anchor="middle", font_size=12,
            fill=_INK,
        )  # fmt: skip


def _words(each: SessionPoint) -> str:
    interval = percent_between(each.low, each.high)
    return f"{each.label}: {each.successes} of {each.n}, 95 % interval {interval}"


def _across(place: float, count: int) -> float:
    room = _WIDE - _LEFT - _RIGHT
    return _LEFT + room * (place + 0.5) / max(count, 1)


def _up(share: float) -> float:
    return _TOP + (_HIGH - _TOP - _BOTTOM) * (1 - share)
