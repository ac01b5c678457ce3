"""At which table a record was made: whatever is done to it is done in that table's turn."""

from __future__ import annotations

from collections.abc import Callable

from service.store import Reader

Where = Callable[[Reader], int]
"""Looks the number of a table up; NotFoundError where the record is none."""


def attempt_at(number: int) -> Where:
    """The table of an attempt."""
    return lambda reader: reader.attempt(number).table_id


def reading_at(number: int) -> Where:
    """The table of a reading."""
    return lambda reader: reader.reading(number).table_id


def still_at(number: int) -> Where:
    """The table of a still."""
    return lambda reader: reader.still(number).table_id


def practice_at(number: int) -> Where:
    """The table of a practice."""
    return lambda reader: reader.practice(number).table_id
