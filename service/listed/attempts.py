"""One attempt a line, in the order they were played."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A text that begins so would be worked out by a spreadsheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name, its unit and what it says; an empty cell: not known, or no such."""

    name: str
    unit: str
    says: str


def _columns(*told: tuple[str, str, str]) -> tuple[Column, ...]:
    return tuple(Column(name=name, unit=unit, says=says) for name, unit, says in told)


COLUMNS = _columns(
    ("attempt", "number", "the attempt's number"),
    ("made_at", "time", "when it was played, ISO 8601 in UTC"),
    ("table", "number", "at which table"),
    ("player", "number", "who played"),
    ("practice", "number", "in which practice"),
    ("struck", "0 or 1", "1: it was struck, and no figure counts it"),
    ("before", "text", "name of the still before the shot"),
    ("after", "text", "name of the still after it"),
    ("pot", "ball", "ball to pot"),
    ("pocket", "pocket", "into this pocket"),
    ("next", "ball", "next ball"),
    ("next_pocket", "pocket", "into this pocket; empty: any"),
    ("called", "word", "in, out or too close to call"),
    ("p_in", "0 to 1", "probability that the cue ball lies in the zone"),
    ("miss_mm", "mm", "distance to the zone; 0 inside"),
    ("miss_x_mm", "mm", "the same along the table, from the zone to the cue ball"),
    ("miss_y_mm", "mm", "the same across the table"),
    ("along_mm", "mm", "the miss along the arrival line; above 0 is long"),
    ("across_mm", "mm", "the miss across it; above 0 is left"),
    ("off_wanted_mm", "mm", "distance from the wanted spot"),
    ("stop_x_mm", "mm", "where the cue ball stopped, from the head nose line"),
    ("stop_y_mm", "mm", "the same, from the lower long nose line"),
    ("wanted_x_mm", "mm", "the wanted spot, from the head nose line"),
    ("wanted_y_mm", "mm", "the same, from the lower long nose line"),
    ("arrival_from", "word", "where the arrival line comes from: video, route or cut"),
    ("left_cut_deg", "degrees", "cut of the next shot as it was left"),
    ("left_side", "word", "side of the next ball's line on which the cue ball lies"),
    ("hooked", "word", "whether the next ball is hooked: no, partly or yes"),
    ("path_to_pocket", "word", "open, blocked or too close to call"),
    ("frozen", "0 or 1", "1: the cue ball touches a ball or a cushion"),
    ("reach", "word", "hand, bridge or out of reach"),
    ("potted_meant", "0 or 1", "1: the ball to pot went"),
    ("scratch", "0 or 1", "1: the cue ball went"),
    ("zone_empty", "0 or 1", "1: the intent left no place to stop"),
    ("pot_chance", "0 to 1", "chance of the next pot from where the cue ball lies"),
    ("pot_chance_given_up", "0 to 1", "the wanted spot's chance less that"),
    ("travel_mm", "mm", "planned way of the cue ball after the contact"),
    ("cut_deg", "degrees", "cut of the shot that was played"),
    ("rails", "count", "rails on the way, as planned or noted"),
    ("spin", "word", "follow, stun or draw, as noted"),
    ("side_spin", "word", "none, left or right, as noted"),
    ("in_a_row", "count", "it belonged to a set of so many successes in a row"),
)


def attempt_lines(rows: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """The heading and a line for each row, which has every column's value by its name."""
    yield _line([column.name for column in COLUMNS])
    for row in rows:
        yield _line([_cell(row[column.name]) for column in COLUMNS])


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, float):
        # more digits than any reading has
        return format(value, ".10g")
    if isinstance(value, str) and value.startswith(_FORMULA):
        return f"'{value}"
    return str(value)


def _line(cells: list[str]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(cells)
    return line.getvalue()
