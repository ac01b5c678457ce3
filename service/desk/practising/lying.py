"""How a table lies, looked up in the store by whoever does not follow its stills."""

from __future__ import annotations

from collections.abc import Iterator

from service.desk.stored import calibration_of, player_now
from service.store import Reader, ReadingRecord

from .pending import At

_LOOKED_BACK = 2, 8, 40
"""So many stills of the same table are looked through, few at a time, for the first of them."""


def at_now(reader: Reader, table_id: int) -> At | None:
    """The table as it lies, without how that came about; None before its calibration."""
    calibration = reader.calibration(table_id=table_id)
    if calibration is None:
        return None
    table = calibration_of(calibration).table
    newest = None
    for reading in _newest_first(reader, table_id):
        clear = reading.layout.settled and not reading.layout.obstructed
        if not clear or reading.calibration_id != calibration.id:
            continue
        newest = reading
        if (reading.outcome or {}).get("event") != "nothing":
            break
    return At(
        table_id=table_id,
        table=table,
        newest=None if newest is None else newest.layout,
        newest_id=None if newest is None else newest.id,
        player=player_now(reader, table_id),
    )


def _newest_first(reader: Reader, table_id: int) -> Iterator[ReadingRecord]:
    before = None
    for limit in _LOOKED_BACK:
        for reading in reader.readings(limit=limit, before=before, table_id=table_id, live=True):
            before = reading.id
            yield reading
