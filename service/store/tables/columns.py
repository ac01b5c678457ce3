"""What all tables share: their names for constraints, and a time that keeps its zone."""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy.engine import Dialect

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)
FIRST = sa.text("1")
"""The table, and the player, that every store has: what a store of one table held belongs there."""


class UtcTime(sa.types.TypeDecorator[datetime]):
    """A moment with its zone; SQLite keeps none, so it is stored in UTC and given back so."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To naive UTC."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Back to UTC with its zone."""
        return None if value is None else value.replace(tzinfo=UTC)


def number() -> sa.Column[int]:
    """The row's own number."""
    return sa.Column("id", sa.Integer, primary_key=True)


def to(
    name: str, target: str, *, null: bool = False, index: bool = True, first: bool = False
) -> sa.Column[int]:
    """A column that points to a row of ``target``; ``first``: to number 1 unless given."""
    return sa.Column(
        name,
        sa.Integer,
        sa.ForeignKey(f"{target}.id"),
        nullable=null,
        index=index,
        server_default=FIRST if first else None,
    )


def moment(name: str, *, null: bool = False) -> sa.Column[datetime]:
    """A time."""
    return sa.Column(name, UtcTime, nullable=null)
