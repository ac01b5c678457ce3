"""Which rows travel, and by what a row that is there already is known again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from .. import tables as t
from ..plain import plain_columns

Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """One table of the database as a member of the archive."""

    table: sa.Table
    known_by: tuple[str, ...]
    """Columns that never change: equal ones are the same row. Numbers of others count as what they
    point to. Rows that even so are alike are the same one after the other."""
    parent: str | None = None
    """Column of a row that this one belongs to: it comes with it, or not at all."""
    layouts: tuple[str, ...] = ()
    """Columns that hold layouts, whose cameras name calibrations by number."""
    left_out: frozenset[str] = frozenset()
    """Columns that follow from the others."""
    only: sa.ColumnElement[bool] | None = None
    """Which rows travel; None: all."""
    at_home: Callable[[Row], Row] = lambda row: row
    """What a row is once it lies in another store: nothing there is live."""

    @property
    def member(self) -> str:
        """Name in the archive."""
        return f"rows/{self.table.name}.jsonl"

    @property
    def columns(self) -> tuple[sa.Column[Any], ...]:
        """Columns that travel."""
        return tuple(each for each in self.table.columns if each.name not in self.left_out)

    @property
    def points_to(self) -> Mapping[str, str]:
        """Columns that hold another row's number, and the table of that row."""
        return {
            column.name: key.column.table.name
            for column in self.columns
            for key in column.foreign_keys
        }

    @property
    def has_number(self) -> bool:
        """Whether its rows are numbered."""
        return "id" in self.table.columns


def _not_live(row: Row) -> Row:
    return row | {"live": False}


def _withdrawn(row: Row) -> Row:
    return row | {"state": "withdrawn"} if row["state"] == "pending" else row


_PLAIN = frozenset(plain_columns({}, {}))

CARRIED: tuple[Carried, ...] = (
    Carried(table=t.players, known_by=("made_at",)),
    Carried(table=t.tables, known_by=("made_at",)),
    Carried(table=t.player_settings, known_by=("player_id", "set_at")),
    Carried(table=t.calibrations, known_by=("table_id", "camera", "set_at")),
    Carried(table=t.sets, known_by=("table_id", "taught_at")),
    Carried(table=t.stills, known_by=("table_id", "received_at", "sha256", "name")),
    Carried(
        table=t.readings,
        known_by=("still_id", "calibration_id", "read_at"),
        layouts=("layout",),
        at_home=_not_live,
    ),
    Carried(
        table=t.corrections,
        known_by=("reading_id", "made_at"),
        parent="reading_id",
        layouts=("layout_before",),
    ),
    Carried(table=t.plans, known_by=("made_at",)),
    Carried(table=t.layouts, known_by=("made_at",)),
    Carried(table=t.layout_tags, known_by=("layout_id", "tag"), parent="layout_id"),
    Carried(table=t.practices, known_by=("table_id", "player_id", "began_at")),
    Carried(table=t.intents, known_by=("before_reading_id", "set_at"), at_home=_withdrawn),
    Carried(table=t.attempts, known_by=("intent_id",), left_out=_PLAIN),
    Carried(
        table=t.receipts,
        known_by=("key",),
        # the others answer with numbers, which are others elsewhere
        only=sa.cast(t.receipts.c.body, sa.Text) == "{}",
    ),
)
"""In an order in which every row comes after those that it points to."""

STAYING: Mapping[str, str] = {
    "events": "they tell listeners of this store what is new in it",
    "changes": "undo goes back over what was done in this store",
    "watches": "a camera or folder of this room, with a password perhaps",
    "devices": "a device is let in by the service that paired it",
    "pairing_codes": "they are good for minutes, here",
    "guides": "a layout that is being set up now",
}
"""Tables that do not travel, and why."""
