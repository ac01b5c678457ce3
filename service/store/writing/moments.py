"""When things are kept: each moment later than the one before, whatever becomes of the clock.

Attempts, stills and what is said of them are put in order by their moments. A clock that is put
back would put the next shot before the one that was played: so time goes on from the moment given
last, until the clock has caught up. One that is put forward is followed.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from service import clock

from .. import tables as t

MOST_BEHIND = timedelta(hours=26)
"""Zones lie as far apart. What was kept further ahead at a start was kept by a wrong clock, and
the clock is followed."""
NOT_BEFORE = datetime(2026, 1, 1, tzinfo=UTC)
"""A clock that shows an earlier moment is wrong: a computer without a battery begins so."""
TOLD_FROM = timedelta(minutes=1)
_LEAST = timedelta(microseconds=1)
_KEPT_AT = (t.events.c.at, t.changes.c.at, t.stills.c.received_at, t.readings.c.read_at)


class Moments:
    """Moments for one store's changes. Any thread may ask."""

    def __init__(self, steady: Callable[[], float] = time.monotonic) -> None:
        self._steady = steady
        self._lock = threading.Lock()
        self._last: datetime | None = None
        self._given_s = 0.0
        self._too_far: datetime | None = None

    def begin(self, newest: datetime | None) -> None:
        """Go on from what is kept; None: nothing is."""
        if newest is None:
            return
        here = clock.now()
        with self._lock:
            if newest - here <= MOST_BEHIND or here < NOT_BEFORE:
                self._last, self._given_s = newest, self._steady()
            else:
                self._too_far = newest

    def next(self) -> datetime:
        """The moment of a change that is made now."""
        with self._lock:
            here, steady_s = clock.now(), self._steady()
            if self._last is not None and here <= self._last:
                passed = timedelta(seconds=steady_s - self._given_s)
                here = self._last + max(passed, _LEAST)
            self._last, self._given_s = here, steady_s
            return here

    @property
    def behind(self) -> timedelta:
        """How far the clock stands behind what was kept last; zero where it does not."""
        with self._lock:
            return behind(self._too_far or self._last)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What a person must know of the clock; empty where all is well."""
        lag = self.behind
        if lag < TOLD_FROM:
            return ()
        if self._too_far is not None:
            return (
                f"What was kept last is dated {lag_words(lag)} ahead of the clock. Where the clock "
                "is right, it stood wrong then: those entries stay in front of what is kept now. "
                "Where it is wrong, set it and start the service again.",
            )
        return (
            f"The clock stands {lag_words(lag)} behind what was kept last: it was put back. What "
            "is kept goes on from there, so that shots stay in their order. Set the clock if it "
            f"is wrong; else the difference is gone after a pause of {lag_words(lag)}.",
        )


def behind(newest: datetime | None) -> timedelta:
    """How far the clock stands behind that moment; zero where it does not."""
    return timedelta(0) if newest is None else max(newest - clock.now(), timedelta(0))


def lag_words(lag: timedelta) -> str:
    """So long, as roughly as it matters."""
    minutes = lag.total_seconds() / 60
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"


def newest_kept(connection: sa.Connection) -> datetime | None:
    """When the newest rows were kept; what is damaged there is told by those who look it over."""
    found: list[datetime] = []
    for column in _KEPT_AT:
        query = sa.select(column).order_by(column.table.c.id.desc()).limit(1)
        with suppress(sa.exc.DBAPIError, UnicodeError, ValueError):
            found += [at for at in connection.execute(query).scalars() if at is not None]
    return max(found, default=None)
