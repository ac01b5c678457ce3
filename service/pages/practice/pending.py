"""The intent that waits for its shot, as the page shows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from calibration.errors import RestmarkError
from service.desk.scene import why_waiting, zone_of
from service.desk.stored import calibration_behind
from service.position import Intent, LandingZone
from service.store import Reader
from service.words.intents import intent_words
from service.words.lengths import Lengths

from ..frame import Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Pending:
    """A pending intent with its zone on its own layout."""

    id: int
    document: dict[str, Any]
    words: str
    zone: LandingZone | None = None
    refusal: str = ""
    """Why it cannot be played so, as after names were put right."""
    waits: str = ""
    """What must lie there first; empty where it can be played now."""

    at: int | None = None
    """Its place in the practice's plan, from 1; None where it is a shot of another kind."""
    place: str = ""
    """Which of a plan's shots it is: ``shot 2 of 5``; empty outside a plan."""

    @property
    def emptied_why(self) -> str:
        """What leaves no place; empty where there is one."""
        zone = self.zone
        return str(zone.emptied_why or "") if zone is not None and zone.is_empty else ""


def pending_of(reader: Reader, shown: Shown, lengths: Lengths) -> Pending | None:
    """The intent that waits at this table; None where none does."""
    record = reader.pending_intent(shown.table)
    if record is None:
        return None
    intent = Intent.from_dict(record.document)
    waits = why_waiting(reader, record)
    zone, refusal = None, ""
    try:
        if waits is None:
            before = reader.reading(record.before_reading_id)
            intent.check_on(before.layout, calibration_behind(reader, before).table)
        zone = zone_of(reader, record)
    except RestmarkError as wrong:
        refusal = wrong.detail
    return Pending(
        id=record.id,
        document=dict(record.document),
        words=intent_words(intent, lengths),
        zone=zone,
        refusal=refusal,
        waits=waits or "",
        at=record.place,
    )
