"""Changes to the store, all of one ``with store.writing()`` block in one transaction."""

from __future__ import annotations

from .writing.again import WritingAgain
from .writing.following import WritingFollowing
from .writing.kept import WritingKept
from .writing.many import WritingMany
from .writing.paired import WritingPaired
from .writing.played import WritingPlayed


class Writer(
    WritingPlayed, WritingKept, WritingFollowing, WritingMany, WritingPaired, WritingAgain
):
    """Reads and writes inside one transaction; made by ``Store.writing()`` only."""
