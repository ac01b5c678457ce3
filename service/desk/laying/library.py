"""The library of layouts: recorded from the table, given, taken in from files, changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration import strict
from calibration.table import Table
from service import clock
from service.desk.refusals import DeskError
from service.layouts.entry import KeptLayout, table_of
from service.layouts.errors import LayoutError
from service.position import Intent
from service.store import FIRST, LayoutRecord, Reader, ReadingRecord, Store
from vision.layout import Layout

_WORDS = ("title", "note", "tags", "intent")
_KEYS = (*_WORDS, "reading_id", "layout")
_REMEDY = "Correct it."


@dataclass(frozen=True, slots=True)
class Library:
    """Changes of the library; each runs in the desk's turns."""

    store: Store

    def record(self, document: Mapping[str, Any], table_id: int = FIRST) -> LayoutRecord:
        """Keep a layout: the one given, a reading's, or the table as it lies now.

        Raises:
            LayoutError: it cannot be kept so.
            DeskError: nothing was read at that table yet (code "no-layout").
        """
        row = strict.record(
            document, "layout", known=_KEYS, closed=True, error=LayoutError, remedy=_REMEDY
        )
        with self.store.writing() as writer:
            writer.table(table_id)
            reading = None
            if row.get("layout") is not None:
                layout = Layout.from_dict(row["layout"], path="layout.layout")
            else:
                reading = _reading(writer, row.get("reading_id"), table_id)
                layout = reading.layout
            kept = _kept(row, layout)
            record = writer.add_layout(
                kept.layout,
                title=kept.title,
                note=kept.note,
                tags=kept.tags,
                intent=_document(kept.intent),
                reading_id=None if reading is None else reading.id,
            )
            writer.tell("layout", layout_id=record.id)
        return record

    def keep(self, kept: KeptLayout) -> LayoutRecord:
        """Keep a layout that was read from a file.

        Raises:
            IntentError: the shot that goes with it does not suit it.
            TableError: no table has its surface.
        """
        _check_shot(kept)
        with self.store.writing() as writer:
            record = writer.add_layout(
                kept.layout.without_cameras(),
                title=kept.title,
                note=kept.note,
                tags=kept.tags,
                intent=_document(kept.intent),
            )
            writer.tell("layout", layout_id=record.id)
        return record

    def change(self, number: int, document: Mapping[str, Any]) -> LayoutRecord:
        """Other words, tags or shot; what is not given stays, a shot that is null goes.

        Raises:
            LayoutError: it cannot be kept so.
            NotFoundError: there is none of that number.
        """
        row = strict.record(
            document, "layout", known=_WORDS, closed=True, error=LayoutError, remedy=_REMEDY
        )
        with self.store.writing() as writer:
            held = kept_of(writer.layout(number))
            before = held.to_dict() | {"intent": _document(held.intent)}
            kept = _kept({**{name: before[name] for name in _WORDS}, **row}, held.layout)
            record = writer.change_layout(
                number,
                title=kept.title,
                note=kept.note,
                tags=kept.tags,
                intent=_document(kept.intent),
                drop_intent=kept.intent is None,
            )
            writer.tell("layout", layout_id=number)
        return record

    def strike(self, number: int, *, restore: bool = False) -> LayoutRecord:
        """Listed no longer, or again. Nothing is erased. NotFoundError without it."""
        with self.store.writing() as writer:
            record = writer.strike_layout(number, restore=restore)
            writer.tell("layout", layout_id=number)
        return record


def kept_of(record: LayoutRecord) -> KeptLayout:
    """The kept layout of a record."""
    intent = record.intent
    return KeptLayout(
        title=record.title,
        note=record.note,
        tags=record.tags,
        layout=record.layout,
        intent=None if intent is None else Intent.from_dict(intent, path="layout.intent"),
    )


def copy_of(record: LayoutRecord, *, mirror: str | None = None, turn: int = 0) -> KeptLayout:
    """The kept layout, mirrored and turned, its title saying so.

    Raises:
        LayoutError: another mirror or turn.
    """
    return kept_of(record).copied(mirror=mirror, turn_deg=turn)


def _reading(reader: Reader, number: Any, table_id: int) -> ReadingRecord:
    if number is not None:
        whole = type(number) is int and 0 < number < 2**31
        if not whole:
            raise LayoutError(
                f"layout.reading_id: got {strict.shown(number)}; allowed: a reading's number. "
                "Look it up in the list of readings."
            )
        return reader.reading(number)
    found = reader.latest_live(table_id)
    if found is None:
        raise DeskError(
            "layout: nothing was read at this table yet; allowed: a layout once a still was read, "
            "or one that is given. Post a still first.",
            code="no-layout",
        )
    if found.layout.obstructed or not found.layout.settled:
        what = "something lies over it" if found.layout.obstructed else "balls are still moving"
        raise LayoutError(
            f"layout: the table as last read cannot be recorded, {what}; allowed: a clear table at "
            "rest. Clear it, and record again once the next still is read."
        )
    return found


def _kept(row: Mapping[str, Any], layout: Layout) -> KeptLayout:
    given = {name: row[name] for name in ("title", "note", "tags") if row.get(name) is not None}
    intent = row.get("intent")
    kept = strict.build(
        KeptLayout,
        {
            "title": f"Layout of {clock.now().astimezone():%Y-%m-%d %H:%M}",
            **given,
            "layout": layout.without_cameras(),
            "intent": None if intent is None else Intent.from_dict(intent, path="layout.intent"),
        },
        path="layout",
        label="layout",
        error=LayoutError,
        remedy=_REMEDY,
    )
    _check_shot(kept)
    return kept


def _check_shot(kept: KeptLayout) -> None:
    """A shot that the layout contradicts is refused before it is kept; so is an odd surface."""
    table: Table = table_of(kept.layout)
    if kept.intent is not None:
        kept.intent.named_on(kept.layout).check_on(kept.layout, table)


def _document(intent: Intent | None) -> dict[str, Any] | None:
    return None if intent is None else intent.to_dict()
