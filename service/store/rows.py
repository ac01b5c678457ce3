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
    LayoutRecord,
    ReadBy,
    ReadingRecord,
    StillRecord,
)

Row = sa.Row[*tuple[Any, ...]]
_BUILT: dict[str, tuple[Mapping[str, Any], Layout]] = {}
"""Layouts that were built last, by where they stand, with the document they were built from."""
_BUILT_MOST = 256


def still_of(row: Row) -> StillRecord:
    """The still of a row."""
    return StillRecord(**row._asdict())


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
        verdict=_object(row.verdict, f"attempts[{row.id}].verdict"),
        kind=around_of(row).kind(),
        judged_by=JudgedBy(
            settings=_object(row.player, f"attempts[{row.id}].player"), source=row.player_source
        ),
        in_a_row=row.in_a_row,
        offset_along_mm=row.offset_along_mm,
        offset_across_mm=row.offset_across_mm,
        table_id=row.table_id,
        player_id=row.player_id,
        practice_id=row.practice_id,
        struck_at=row.struck_at,
        set_up=row.set_up,
    )


def reading_of(row: Row) -> ReadingRecord:
    """The reading of a row that has its still's columns too, as ``still_…``."""
    return ReadingRecord(
        id=row.id,
        still=StillRecord(
            id=row.still_id,
            table_id=row.still_table_id,
            source=row.still_source,
            received_at=row.still_received_at,
            name=row.still_name,
            media_type=row.still_media_type,
            sha256=row.still_sha256,
            size_bytes=row.still_size_bytes,
        ),
        calibration_id=row.calibration_id,
        read_at=row.read_at,
        took_ms=row.took_ms,
        layout=layout_of(row.layout, f"readings[{row.id}].layout"),
        comparison=row.comparison,
        table_id=row.table_id,
        live=row.live,
        outcome=row.outcome,
        read_by=ReadBy(set_id=row.set_id, weights=row.weights, software=row.software),
    )


def intent_of(row: Row) -> IntentRecord:
    """The intent of a row."""
    _object(row.document, f"intents[{row.id}].document")
    return IntentRecord(**row._asdict())


def kept_layout_of(row: Row, tags: tuple[str, ...]) -> LayoutRecord:
    """The kept layout of a row."""
    layout = layout_of(row.layout, f"layouts[{row.id}].layout")
    intent = row.layout.get("intent")
    return LayoutRecord(**{**row._asdict(), "layout": layout, "intent": intent, "tags": tags})


def _object(document: Any, path: str) -> Mapping[str, Any]:
    """The object in a cell; DamagedError where another value is: SQLite lets a number through."""
    if not isinstance(document, Mapping):
        raise DamagedError(f"{path}: got {document!r:.40}; allowed: an object. {WAY_OUT}")
    return document


def layout_of(document: Mapping[str, Any], path: str) -> Layout:
    """The layout in a cell; one that a page looked at just before is not built anew.

    Raises:
        DamagedError: there is none in it.
    """
    known = _BUILT.get(path)
    # another store of this process, or names put right since, have another document there
    if known is not None and known[0] == document:
        return known[1]
    try:
        layout = Layout.from_dict(document, path=path)
    except RestmarkError as wrong:
        raise DamagedError(f"{wrong.detail} {WAY_OUT}") from None
    if len(_BUILT) >= _BUILT_MOST:
        _BUILT.clear()
    _BUILT[path] = (document, layout)
    return layout
