"""The tables as they are now. A change here needs a numbered step in ``migrations/``.

In: nothing. Out: SQLAlchemy's tables, one module a subject, and the metadata that holds them all.
Only the store itself may touch them.
"""

from .columns import UtcTime, metadata
from .kept import layout_tags, layouts, plans
from .paired import devices, pairing_codes
from .places import (
    calibrations,
    guides,
    player_settings,
    players,
    sets,
    tables,
    watches,
)
from .played import attempts, changes, intents, practices
from .seen import corrections, readings, stills
from .told import events, receipts

__all__ = [
    "UtcTime",
    "attempts",
    "calibrations",
    "changes",
    "corrections",
    "devices",
    "events",
    "guides",
    "intents",
    "layout_tags",
    "layouts",
    "metadata",
    "pairing_codes",
    "plans",
    "player_settings",
    "players",
    "practices",
    "readings",
    "receipts",
    "sets",
    "stills",
    "tables",
    "watches",
]
