"""What time it is: the one place where the service asks this machine's clock.

For waits and limits ``time.monotonic`` is asked, which nobody puts back.
"""

from __future__ import annotations

from datetime import UTC, date, datetime


def now() -> datetime:
    """This moment by the clock on the wall, which may be put forward or back at any time."""
    return datetime.now(UTC)


def today() -> date:
    """The day that it is here."""
    return now().astimezone().date()


def day_of(moment: datetime) -> date:
    """The day on which that was here."""
    return moment.astimezone().date()
