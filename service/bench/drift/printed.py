"""How well moves are noticed, as tables on a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table as Grid


def print_drift(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as tables on a terminal."""
    percent = {name: _percent(share) for name, share in figures.items() if name.endswith("share")}
    cpu_ms = figures["cpu_ms"]
    console.print(
        f"{figures['cases']} stills of {figures['scenes']} scenes "
        f"({figures['scenes_without_marks']} too dark or plain to check), seed {figures['seed']}"
    )
    console.print(
        f"shifts of {figures['told']} corrected or refused {percent['told_share']} (with those in "
        f"doubt {percent['told_or_doubted_share']}); false alarms {percent['false_alarm_share']}, "
        f"needless doubt {percent['needless_doubt_share']}"
    )
    console.print(
        f"read more than {figures['wrong_mm']:g} mm off: {figures['wrong']} without doubt, "
        f"{figures['wrong_in_doubt']} in doubt; {_short(cpu_ms['median'])} ms a still (99 %: "
        f"{_short(cpu_ms['p99'])})"
    )
    for part, key in (("sizes", "size"), ("unmoved_by_light", "light"), ("moves_of_2_mm", "move")):
        console.print(_grid(figures[part], key, part.replace("_", " ")))
    for case in figures["odd"]:
        console.print(", ".join(f"{name} {_short(value)}" for name, value in case.items()))


def _grid(rows: Sequence[Mapping[str, Any]], key: str, title: str) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False, title=title, title_justify="left")
    names = [name for name in (rows[0] if rows else {}) if name != key]
    for name in (key, *names):
        grid.add_column(
            name.replace("_", " "), justify="left" if name == key else "right", no_wrap=True
        )
    for row in rows:
        grid.add_row(str(row[key]), *(_short(row.get(name)) for name in names))
    return grid


def _short(value: object) -> str:
    if value is None:
        return "–"
    return f"{value:.3f}" if isinstance(value, float) else str(value)


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.2f} %"
