"""What the service remembers: calibrations, stills, readings, intents and attempts.

In: values to keep. Out: frozen records. SQL lives in this room only. Everything is under one data
directory: ``restmark.db`` and ``stills/``. Writes go one at a time, each in one transaction; a
change of tables is a numbered step in ``migrations/``.
"""

from .files import StillFiles, media_type_of
from .reader import Reader
from .records import (
    AttemptRecord,
    CalibrationRecord,
    Circumstances,
    CorrectionRecord,
    IntentRecord,
    NotFoundError,
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
    "AttemptRecord",
    "CalibrationRecord",
    "Circumstances",
    "CorrectionRecord",
    "IntentRecord",
    "NotFoundError",
    "Reader",
    "ReadingRecord",
    "Receipt",
    "Score",
    "SetRecord",
    "StillFiles",
    "StillRecord",
    "Store",
    "StoreError",
    "Writer",
    "media_type_of",
]
