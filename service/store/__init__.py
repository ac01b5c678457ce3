"""What the service remembers: calibrations, stills, readings, intents and attempts.

In: values to keep. Out: frozen records. SQL lives in this room only. Everything is under one data
directory: ``restmark.db`` and ``stills/``. Writes go one at a time, each in one transaction; a
change of tables is a numbered step in ``migrations/``.
"""

from .check import StillsCheck
from .files import StillFiles, media_type_of
from .hold import LOCK_NAME, HeldError
from .reader import Reader
from .records import (
    PLAYER_GIVEN,
    PLAYER_STARTING,
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    CorrectionRecord,
    DamagedError,
    IntentRecord,
    JudgedBy,
    NotFoundError,
    PlayerRecord,
    ReadingRecord,
    Receipt,
    Score,
    SetRecord,
    StillRecord,
    StoreError,
)
from .store import DATABASE_NAME, Store
from .writer import Writer

__all__ = [
    "DATABASE_NAME",
    "LOCK_NAME",
    "PLAYER_GIVEN",
    "PLAYER_STARTING",
    "AttemptRecord",
    "CalibrationRecord",
    "Circumstances",
    "CorrectionRecord",
    "DamagedError",
    "HeldError",
    "IntentRecord",
    "JudgedBy",
    "NotFoundError",
    "PlayerRecord",
    "Reader",
    "ReadingRecord",
    "Receipt",
    "Score",
    "SetRecord",
    "StillFiles",
    "StillRecord",
    "StillsCheck",
    "Store",
    "StoreError",
    "Writer",
    "media_type_of",
]
