"""Questions to the store. Each is answered from one consistent look at the rows."""

from __future__ import annotations

from .asking.again import AskingAgain
from .asking.figures import AskingFigures
from .asking.following import AskingFollowing
from .asking.kept import AskingKept
from .asking.listed import AskingListed
from .asking.paired import AskingPaired
from .asking.played import AskingPlayed


class Reader(
    AskingPlayed,
    AskingKept,
    AskingFigures,
    AskingFollowing,
    AskingListed,
    AskingPaired,
    AskingAgain,
):
    """Reads on one connection; made by ``Store.reading()`` and, inside a write, by ``Writer``."""
