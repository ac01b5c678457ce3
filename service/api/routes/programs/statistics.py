"""What chosen attempts add up to."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.desk.stored import calibration_of
from service.desk.sums import statistics_of
from service.words.lengths import Lengths, Units
from service.words.progress import standing_headline, standing_lines

from ... import models as m
from ...deps import OnlyPlayer, OnlyPractice, OnlyTable, ReaderDep, check_there

router = APIRouter()
When = Annotated[
    datetime | None,
    Query(description="ISO 8601; without a zone by the clock of this computer."),
]


@router.get("/statistics", response_model=m.StatisticsOut, tags=["attempts"])
def get_statistics(
    reader: ReaderDep,
    player: OnlyPlayer = None,
    practice: OnlyPractice = None,
    table: OnlyTable = None,
    since: When = None,
    until: When = None,
    units: Annotated[Units, Query(description="What `words` say lengths in.")] = Units.MM,
) -> dict[str, Any]:
    """What the chosen attempts add up to: the weak side first, pots and position apart, by kind of
    shot; every rate with its interval.

    Without a player, a practice and a table those of who plays at table 1 now. Struck attempts
    never count. `words` says the same in sentences.
    """
    check_there(reader, table=table, player=player, practice=practice)
    if player is None and practice is None and table is None:
        player = reader.table(1).player_id
    found = statistics_of(
        reader,
        player_id=player,
        practice_id=practice,
        table_id=table,
        since=since,
        until=until,
    )
    held = reader.calibration(table_id=1 if table is None else table)
    lengths = (
        Lengths(units=units) if held is None else Lengths.on(calibration_of(held).table, units)
    )
    return {
        "headline": standing_headline(found),
        "words": standing_lines(found, lengths),
        "statistics": found.to_dict(),
    }
