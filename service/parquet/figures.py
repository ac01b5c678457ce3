"""The service's figures from Parquet files, over Dask dataframes.

Dask reads the files in parts, chooses and brings together; what is worked out of the columns is
worked out by the same functions as everywhere, so a figure cannot differ but by what was written.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from service.practice.columns import Columns
from service.practice.standing import Standing, standing

from .columns import ATTEMPTS
from .errors import ParquetError, no_library

_NAMED: Mapping[str, str] = {
    "at": "made_at", "called": "called", "zone_empty": "zone_empty", "pot": "potted_meant",
    "scratch": "scratch", "miss_mm": "miss_mm", "off_wanted_mm": "off_wanted_mm",
    "offset_along_mm": "offset_along_mm", "offset_across_mm": "offset_across_mm",
    "arrival": "arrival_from", "pot_chance": "pot_chance",
    "pot_chance_given_up": "pot_chance_given_up", "travel_mm": "travel_mm", "cut_deg": "cut_deg",
    "rails": "rails", "spin": "spin", "side_spin": "side_spin", "in_a_row": "in_a_row",
    "shot": "shot",
}  # fmt: skip
"""Columns of statistics, and of the files."""
_WHICH = ("attempt", "player", "practice", "table", "struck")


def columns_in(
    folder: Path | str,
    *,
    player_id: int | None = None,
    table_id: int | None = None,
    practice_id: int | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Columns:
    """Attempts that count, chosen as the service chooses, in the order they were played."""
    frame = _frame(folder)
    equal = {"player": player_id, "table": table_id, "practice": practice_id}
    for name, value in equal.items():
        if value is not None:
            frame = frame[frame[name] == value]
    if since is not None:
        frame = frame[frame.made_at >= since]
    if until is not None:
        frame = frame[frame.made_at < until]
    return _columns(frame.compute())


def standing_in(folder: Path | str, **which: Any) -> Standing:
    """How the player of those attempts stands; chosen as by ``columns_in``."""
    return standing(columns_in(folder, **which))


def standings_in(folder: Path | str) -> dict[int, dict[str, Any]]:
    """How each player stands, as the JSON object of the API, by the player's number.

    Each player's figures are worked out where Dask has that player's attempts.
    """
    grouped = _frame(folder).groupby("player")
    told = grouped.apply(_told, meta=("told", "object")).compute()
    return {int(player): json.loads(text) for player, text in told.items()}


def _told(frame: Any) -> str:
    return json.dumps(standing(_columns(frame)).to_dict())


def _frame(folder: Path | str) -> Any:
    """The attempts that count, lazily."""
    try:
        import dask.dataframe as dd
    except ImportError:
        raise no_library("dask") from None
    names = [*_WHICH, *dict.fromkeys(_NAMED.values())]
    try:
        frame = dd.read_parquet(
            f"{str(folder).rstrip('/')}/{ATTEMPTS}", columns=names, dtype_backend="pyarrow"
        )
        return frame[~frame.struck]
    except (OSError, ValueError, KeyError, AttributeError) as wrong:
        raise ParquetError(
            f"{folder}: {' '.join(str(wrong).split())[:200]}; allowed: a folder of `restmark "
            "export --parquet`. Write it anew."
        ) from None


def _columns(frame: Any) -> Columns:
    import pyarrow

    ordered = frame.sort_values(["made_at", "attempt"])
    table = pyarrow.Table.from_pandas(ordered[list(dict.fromkeys(_NAMED.values()))])
    given = {name: table.column(file).to_pylist() for name, file in _NAMED.items()}
    # verdicts of old were split by a straight line to the wanted spot, which is no arrival
    for name in ("offset_along_mm", "offset_across_mm"):
        pairs = zip(given[name], given["arrival"], strict=True)
        given[name] = [None if arrival is None else value for value, arrival in pairs]
    return Columns.of(given)
