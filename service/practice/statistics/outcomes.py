"""What counts in an attempt: one rule a question, for sessions, kinds of shots and trends alike.

``among`` leaves only the attempts that it marks.
"""

from __future__ import annotations

import numpy as np

from service.practice.columns import IN, TOO_CLOSE, UNKNOWN, Columns, Marks, Reals, known

from .rates import Rate, rate


def zone_called(shots: Columns) -> Marks:
    """Attempts with an intent that had a zone; a scratch counts as out."""
    return (shots.called != UNKNOWN) & ~shots.zone_empty


def zone_decided(shots: Columns) -> Marks:
    """Those of them that could be called."""
    return zone_called(shots) & (shots.called != TOO_CLOSE)


def zone_rate(shots: Columns, among: Marks | None = None) -> Rate:
    """Stops in the zone among the attempts that could be called."""
    decided = zone_decided(shots) if among is None else zone_decided(shots) & among
    return rate(_count(decided & (shots.called == IN)), _count(decided))


def pots_made(shots: Columns) -> Marks:
    """The ball to pot is down, and the cue ball is not."""
    return (shots.pot == 1) & ~shots.scratch


def pot_rate(shots: Columns) -> Rate:
    """Pots made, without a scratch, among the attempts that named a ball to pot."""
    return rate(_count(pots_made(shots)), _count(shots.pot != UNKNOWN))


def successes(shots: Columns) -> Marks:
    """Pot made, no scratch, stop in the zone."""
    return (shots.called == IN) & ~shots.scratch & (shots.pot != 0)


def misses_mm(shots: Columns, among: Marks | None = None) -> Reals:
    """Distances to the zone, 0 inside it."""
    return known(shots.miss_mm if among is None else shots.miss_mm[among])


def off_wanted_mm(shots: Columns) -> Reals:
    """Distances from the wanted spots, hits and misses alike, however the cue ball came."""
    return known(shots.off_wanted_mm)


def is_split(shots: Columns) -> Marks:
    """Whether the direction is known: seen, by a route, or from the cut within 30°."""
    return ~(np.isnan(shots.offset_along_mm) | np.isnan(shots.offset_across_mm))


def offsets_mm(shots: Columns, among: Marks | None = None) -> Reals:
    """Stops against wanted spots (n, 2), along and across the arrival line, where it is known."""
    split = is_split(shots) if among is None else is_split(shots) & among
    return np.stack([shots.offset_along_mm[split], shots.offset_across_mm[split]], axis=1)


def _count(marks: Marks) -> int:
    return int(np.count_nonzero(marks))
