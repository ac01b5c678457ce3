"""Cells of an SQLite database that hold another kind of value than their column does."""

from __future__ import annotations

import sqlalchemy as sa

from .. import tables as t


def wrong_cells(connection: sa.Connection) -> list[str]:
    """Names of cells that cannot have been written so, and of rows that point to none."""
    wrong = [cell for table in t.metadata.sorted_tables for cell in _wrong_cells(connection, table)]
    return wrong + _wrong_references(connection)


def _wrong_cells(connection: sa.Connection, table: sa.Table) -> list[str]:
    """Names of cells that hold another kind of value than their column does."""
    key = next(iter(table.primary_key)).name
    wrong = [(column.name, f"NOT coalesce({_whole(column)}, 0)") for column in table.columns]
    which = " ".join(f"WHEN {condition} THEN '{name}'" for name, condition in wrong)
    query = (
        f'SELECT "{key}", CASE {which} END FROM "{table.name}" '
        f"WHERE {' OR '.join(condition for _, condition in wrong)}"
    )
    return [f"{table.name}[{row[0]}].{row[1]}" for row in connection.exec_driver_sql(query)]


def _whole(column: sa.Column[object]) -> str:
    """Condition in SQL for a cell of that column to be what is written there."""
    cell = f'"{column.name}"'
    if isinstance(column.type, sa.JSON):
        whole = f"CASE WHEN json_valid({cell}) THEN json_type({cell}) IN ('object', 'array') END"
    elif isinstance(column.type, t.UtcTime):
        whole = f"typeof({cell}) = 'text' AND datetime({cell}) IS NOT NULL"
    elif isinstance(column.type, sa.Boolean):
        whole = f"{cell} IN (0, 1)"
    elif isinstance(column.type, sa.Integer):
        whole = f"typeof({cell}) = 'integer'"
    elif isinstance(column.type, sa.Float):
        whole = f"typeof({cell}) IN ('real', 'integer')"
    else:
        whole = f"typeof({cell}) = 'text'"
    return f"({cell} IS NULL OR ({whole}))" if column.nullable else f"({whole})"


def _wrong_references(connection: sa.Connection) -> list[str]:
    """Rows that point to a row which is not there."""
    found = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    return [f"{row[0]}[{row[1]}] (its {row[2]} is gone)" for row in found]
