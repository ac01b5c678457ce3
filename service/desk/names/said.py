"""What was said of a reading's names, ball by ball, and what follows for teaching the set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.store import CorrectionRecord
from vision.layout import Ball, Layout


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidNames:
    """Balls of a layout that a person spoke of, in its order, by what came of it."""

    changed: tuple[tuple[str, str], ...] = ()
    """The name now, and the name that was read."""
    confirmed: tuple[str, ...] = ()
    left_open: tuple[str, ...] = ()
    """In doubt still: nobody could tell."""


def said_names(layout: Layout, said: Sequence[CorrectionRecord]) -> SaidNames:
    """What stands by hand: names put right, names confirmed, names left open."""
    if not said:
        return SaidNames()
    read = said[0].layout_before.balls
    changed, confirmed, left_open = [], [], []
    for ball in spoken_of(layout, said):
        was = min(read, key=lambda other: _apart_mm(other, ball.centre_mm)).id
        if ball.doubtful:
            left_open.append(ball.id)
        elif was != ball.id:
            changed.append((ball.id, was))
        else:
            confirmed.append(ball.id)
    return SaidNames(changed=tuple(changed), confirmed=tuple(confirmed), left_open=tuple(left_open))


def spoken_of(layout: Layout, said: Sequence[CorrectionRecord]) -> list[Ball]:
    """The layout's balls that something was said of, in its order."""
    if not layout.balls:
        return []
    places = [(name["x_mm"], name["y_mm"]) for each in said for name in each.names]
    meant = {
        min(range(len(layout.balls)), key=lambda k: _apart_mm(layout.balls[k], place))
        for place in places
    }
    return [layout.balls[k] for k in sorted(meant)]


def _apart_mm(ball: Ball, place_mm: tuple[float, float]) -> float:
    return float(np.hypot(ball.x_mm - place_mm[0], ball.y_mm - place_mm[1]))
