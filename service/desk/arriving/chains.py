"""The chain of every table, kept between stills and made anew from the store where it must be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.table import Table
from service.desk.following.chain import Chain, Link
from service.desk.stored import calibration_of
from service.position.errors import AttemptError
from service.position.verdict.happened import check_layouts
from service.store import CalibrationRecord, Reader, ReadingRecord
from vision.layout import Layout

LOOKED_BACK = 200
"""Live readings that a chain is made anew from."""


class Chains:
    """One chain a table, used in that table's turn alone."""

    def __init__(self) -> None:
        self._chains: dict[int, tuple[int, Chain]] = {}

    def at(self, reader: Reader, calibration: CalibrationRecord) -> Chain:
        """The chain of the calibration's table; stills of an earlier calibration begin none."""
        known = self._chains.get(calibration.table_id)
        if known is not None and known[0] == calibration.id:
            return known[1]
        chain = chain_of(reader, calibration)
        self._chains[calibration.table_id] = (calibration.id, chain)
        return chain

    def forget(self, table_id: int) -> None:
        """Something about its stills changed, or was not kept after all."""
        self._chains.pop(table_id, None)


def is_foreign(layout: Layout, table: Table) -> bool:
    """Whether a layout's surface is not the table's: it has no place in its chain."""
    return why_foreign(layout, table) is not None


def why_foreign(layout: Layout, table: Table) -> AttemptError | None:
    """What is said of such a layout; None for one of the table's own."""
    try:
        check_layouts(layout, layout, table)
    except AttemptError as wrong:
        return wrong if wrong.code == "other-surface" else None
    return None


def chain_of(reader: Reader, calibration: CalibrationRecord, *, before: int | None = None) -> Chain:
    """The table's chain made anew; ``before``: as it was when that reading came."""
    table = calibration_of(calibration).table
    return Chain.of(table, links_of(reader, calibration, before=before))


def links_of(
    reader: Reader, calibration: CalibrationRecord, *, before: int | None = None
) -> list[Link]:
    """The stored links that a chain is made of, oldest first."""
    table = calibration_of(calibration).table
    newest_first = reader.readings(
        limit=LOOKED_BACK, before=before, table_id=calibration.table_id, live=True
    )
    readings = [
        reading
        for reading in reversed(newest_first)
        if reading.calibration_id == calibration.id and not is_foreign(reading.layout, table)
    ]
    if not readings:
        return []
    played = reader.intents_played(calibration.table_id, since_reading=readings[0].id)
    return [_link(reading, played) for reading in readings]


def _link(reading: ReadingRecord, played: Mapping[int, Mapping[str, Any]]) -> Link:
    outcome = reading.outcome or {}
    return Link(
        reading_id=reading.id,
        layout=reading.layout,
        event=outcome.get("event"),
        repeats_id=outcome.get("repeats_reading_id"),
        played=played.get(reading.id),
    )
