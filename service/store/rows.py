"""Rows of the database as the records that they are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from calibration.errors import RestmarkError
from vision.layout import Layout

from .records import (
    WAY_OUT,
    AttemptRecord,
    Circumstances,
    DamagedError,
    IntentRecord,
    JudgedBy,
    ReadingRecord,
    StillRecord,
)

Row = sa.Row[*tuple[Any, ...]]


def still_of(row: Row, number: int) -> StillRecord:
    """The still of a row that has its columns."""
    return StillRecord(
        id=number,
        received_at=row.received_at,
        name=row.name,
        media_type=row.media_type,
        sha256=row.sha256,
        size_bytes=row.size_bytes,
    )


def around_of(row: Row) -> Circumstances:
    """When and how the attempt of a row was played."""
    return Circumstances(
        played_at=row.made_at,
        travel_mm=row.travel_mm,
        cut_deg=row.cut_deg,
        rails=row.rails,
        spin=row.spin,
        side_spin=row.side_spin,
        in_a_row=row.in_a_row,
    )


def attempt_of(
    row: Row,
    *,
    intent: IntentRecord,
    before: ReadingRecord,
    after: ReadingRecord,
) -> AttemptRecord:
    """The attempt of a row, with what it points to."""
    return AttemptRecord(
        id=row.id,
        made_at=row.made_at,
        intent=intent,
        before=before,
        after=after,
        verdict=row.verdict,
        kind=around_of(row).kind(),
        judged_by=JudgedBy(settings=row.player, source=row.player_source),
        in_a_row=row.in_a_row,
        offset_along_mm=row.offset_along_mm,
        offset_across_mm=row.offset_across_mm,
    )


def reading_of(row: Row) -> ReadingRecord:
    """The reading of a row that has its still's columns too."""
    return ReadingRecord(
        id=row.id,
        still=still_of(row, row.still_id),
        calibration_id=row.calibration_id,
        read_at=row.read_at,
        took_ms=row.took_ms,
        layout=layout_of(row.layout, f"readings[{row.id}].layout"),
        comparison=row.comparison,
    )


def intent_of(row: Row) -> IntentRecord:
    """The intent of a row."""
    return IntentRecord(
        id=row.id,
        set_at=row.set_at,
        before_reading_id=row.before_reading_id,
        state=row.state,
        document=row.document,
    )


def layout_of(document: Mapping[str, Any], path: str) -> Layout:
    """The layout in a cell; DamagedError where it is none."""
    try:
        return Layout.from_dict(document, path=path)
    except RestmarkError as wrong:
        raise DamagedError(f"{wrong.detail} {WAY_OUT}") from None
