"""Whether the set that lies at a table now seems to be none of the known ones."""

from __future__ import annotations

from service.store import FIRST, Reader
from vision.name.unusual import MOST_STILLS, Unusual, is_taught, unusual

from .known_set import KnownSet


def unusual_at(reader: Reader, known: KnownSet, table_id: int = FIRST) -> Unusual | None:
    """By the newest live stills of that table, those alone that came since the set was taught."""
    learned = max(known.learned_from, default=0)
    since = [
        reading.layout
        for reading in reader.readings(limit=MOST_STILLS, table_id=table_id, live=True)
        if not (known.taught and is_taught(reading.layout, known.taught.ids))
        and reading.id > learned
        and (known.given_at is None or reading.read_at > known.given_at)
    ]
    return unusual(since[::-1])
