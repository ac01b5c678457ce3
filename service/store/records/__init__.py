"""What the store hands out: one frozen value a row, with the rows it points to.

In: nothing. Out: values and the errors of the store; nothing here asks the database.
"""

from .errors import (
    RESTORE,
    WAY_OUT,
    DamagedError,
    JsonText,
    NoStoreError,
    NotFoundError,
    StoreError,
    json_text,
    whole_json,
)
from .kept import (
    ChangeRecord,
    EventRecord,
    LayoutRecord,
    PlanRecord,
    PracticeRecord,
    Receipt,
)
from .paired import CodeRecord, DeviceRecord
from .places import (
    FIRST,
    OVERHEAD,
    CalibrationRecord,
    GuideRecord,
    PlayerRecord,
    SetRecord,
    SettingsRecord,
    TableRecord,
    WatchRecord,
)
from .played import (
    PLAYER_GIVEN,
    PLAYER_STARTING,
    AttemptEnd,
    AttemptRecord,
    Circumstances,
    IntentRecord,
    JudgedBy,
)
from .seen import (
    IMPORTED,
    POSTED,
    WATCHED,
    CorrectionRecord,
    ReadBy,
    ReadingRecord,
    StillRecord,
)

__all__ = [
    "FIRST",
    "IMPORTED",
    "OVERHEAD",
    "PLAYER_GIVEN",
    "PLAYER_STARTING",
    "POSTED",
    "RESTORE",
    "WATCHED",
    "WAY_OUT",
    "AttemptEnd",
    "AttemptRecord",
    "CalibrationRecord",
    "ChangeRecord",
    "Circumstances",
    "CodeRecord",
    "CorrectionRecord",
    "DamagedError",
    "DeviceRecord",
    "EventRecord",
    "GuideRecord",
    "IntentRecord",
    "JsonText",
    "JudgedBy",
    "LayoutRecord",
    "NoStoreError",
    "NotFoundError",
    "PlanRecord",
    "PlayerRecord",
    "PracticeRecord",
    "ReadBy",
    "ReadingRecord",
    "Receipt",
    "SetRecord",
    "SettingsRecord",
    "StillRecord",
    "StoreError",
    "TableRecord",
    "WatchRecord",
    "json_text",
    "whole_json",
]
