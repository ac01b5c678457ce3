"""What the service remembers: tables, players, stills, readings, intents, attempts, layouts, plans.

In: values to keep. Out: frozen records (``records``). SQL lives in this room only: questions in
``asking``, changes in ``writing``. Everything is under one data directory: ``restmark.db`` and
``stills/``. Writes go one at a time, each in one transaction; a change of tables is a numbered
step in ``migrations/``.
"""

from .asking.again import StillToRead
from .check import StillsCheck
from .condition import DAMAGED, LOOKING, WHOLE, Condition
from .databases import DATABASE_NAME
from .databases.hold import LOCK_NAME, HeldError
from .files import StillFiles, media_type_of
from .reader import Reader
from .records import (
    FIRST,
    IMPORTED,
    OVERHEAD,
    PLAYER_GIVEN,
    PLAYER_STARTING,
    POSTED,
    WATCHED,
    AttemptEnd,
    AttemptRecord,
    CalibrationRecord,
    ChangeRecord,
    Circumstances,
    CodeRecord,
    CorrectionRecord,
    DamagedError,
    DeviceRecord,
    EventRecord,
    GuideRecord,
    IntentRecord,
    JudgedBy,
    LayoutRecord,
    NoStoreError,
    NotFoundError,
    PlanRecord,
    PlayerRecord,
    PracticeRecord,
    ReadBy,
    ReadingRecord,
    Receipt,
    SetRecord,
    SettingsRecord,
    StillRecord,
    StoreError,
    TableRecord,
    WatchRecord,
)
from .store import Store
from .writer import Writer
from .writing.again import ReadAgain

__all__ = [
    "DAMAGED",
    "DATABASE_NAME",
    "FIRST",
    "IMPORTED",
    "LOCK_NAME",
    "LOOKING",
    "OVERHEAD",
    "PLAYER_GIVEN",
    "PLAYER_STARTING",
    "POSTED",
    "WATCHED",
    "WHOLE",
    "AttemptEnd",
    "AttemptRecord",
    "CalibrationRecord",
    "ChangeRecord",
    "Circumstances",
    "CodeRecord",
    "Condition",
    "CorrectionRecord",
    "DamagedError",
    "DeviceRecord",
    "EventRecord",
    "GuideRecord",
    "HeldError",
    "IntentRecord",
    "JudgedBy",
    "LayoutRecord",
    "NoStoreError",
    "NotFoundError",
    "PlanRecord",
    "PlayerRecord",
    "PracticeRecord",
    "ReadAgain",
    "ReadBy",
    "Reader",
    "ReadingRecord",
    "Receipt",
    "SetRecord",
    "SettingsRecord",
    "StillFiles",
    "StillRecord",
    "StillToRead",
    "StillsCheck",
    "Store",
    "StoreError",
    "TableRecord",
    "WatchRecord",
    "Writer",
    "media_type_of",
]
