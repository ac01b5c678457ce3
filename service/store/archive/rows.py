"""A row as one line of JSON, and a line as a row whose every value its column can hold."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from calibration import strict

from .. import tables as t
from .carried import Carried, Row
from .errors import ArchiveError, damaged

LINE_LIMIT_BYTES = 32_000_000
_WHOLE_LIMIT = 2**31 - 1
"""Largest whole number of a column, on every database."""
_TEXT_LIMIT = 100_000


def line_of(carried: Carried, values: Mapping[str, Any]) -> bytes:
    """The row as a line."""
    document = {
        column.name: (value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value)
        for column in carried.columns
        for value in (values[column.name],)
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def row_of(carried: Carried, line: bytes, where: str) -> Row:
    """The row in a line.

    Raises:
        ArchiveError: a column could not hold its value.
    """
    document = strict.parse(
        line, place=where, what="a JSON object", remedy="Export it again.", error=ArchiveError
    )
    if not isinstance(document, dict):
        raise damaged(where, "no JSON object")
    foreign = set(document) - {column.name for column in carried.columns}
    if foreign:
        raise damaged(where, f"the unknown field {min(foreign)!r:.60}")
    return {
        column.name: _value(column, document[column.name], f"{where}.{column.name}")
        if column.name in document
        else _unsaid(column, f"{where}.{column.name}")
        for column in carried.columns
    }


def _unsaid(column: sa.Column[Any], where: str) -> Any:
    """What holds where an archive of an older step does not have the column yet."""
    default = column.server_default
    if not isinstance(default, sa.DefaultClause):
        return _value(column, None, where)
    if isinstance(default.arg, str):
        return default.arg
    if isinstance(default.arg, sa.TextClause):
        return json.loads(default.arg.text)
    return isinstance(default.arg, sa.True_)


def _value(column: sa.Column[Any], value: Any, where: str) -> Any:
    if value is None:
        if not column.nullable:
            raise damaged(where, "nothing")
        return None
    kind = column.type
    if isinstance(kind, sa.JSON):
        if not isinstance(value, dict | list):
            raise damaged(where, repr(value)[:60], "a JSON object or list")
    elif isinstance(kind, t.UtcTime):
        return _moment(value, where)
    elif isinstance(kind, sa.Boolean):
        if not isinstance(value, bool):
            raise damaged(where, repr(value)[:60], "true or false")
    elif isinstance(kind, sa.Integer | sa.Float):
        return _number(kind, value, where)
    elif isinstance(kind, sa.String):  # Text too
        limit = kind.length or _TEXT_LIMIT
        if not isinstance(value, str) or len(value) > limit or "\0" in value:
            raise damaged(where, repr(value)[:60], f"text of at most {limit} characters")
    else:
        raise NotImplementedError(f"{where}: no archive holds a {kind}")
    return value


def _number(kind: sa.Integer | sa.Float[Any], value: Any, where: str) -> int | float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise damaged(where, repr(value)[:60], "a finite number")
    if isinstance(kind, sa.Integer) and not (isinstance(value, int) and abs(value) <= _WHOLE_LIMIT):
        raise damaged(where, repr(value)[:60], f"a whole number up to {_WHOLE_LIMIT}")
    return value


def _moment(value: Any, where: str) -> datetime:
    try:
        moment = datetime.fromisoformat(value)
        assert moment.tzinfo is not None
        return moment.astimezone(UTC)
    except (TypeError, ValueError, OverflowError, AssertionError):
        raise damaged(where, repr(value)[:60], "a time with its zone") from None
