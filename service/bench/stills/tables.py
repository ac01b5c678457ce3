"""The figures of many stills' readings as tables on a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table as Grid

from service.bench.practice import print_machine
from vision.truth.file import CONFIRMED, CORRECTED, READ

from .circles import print_circles

FINDS = (
    ("stills", "stills"), ("  clear", "clear"), ("balls in clear stills", "balls"),
    ("found", "found_share"), ("missed", "missed"), ("invented", "invented"),
    ("invented a still", "invented_a_still"), ("names right", "names_right"),
    ("names in doubt", "doubtful_share"), ("undoubted names", None),
    ("  of them wrong", "undoubted_wrong"), ("  share of them wrong", "undoubted_wrong_share"),
    ("cue balls", "cue_balls"), ("  found and named", "cue_right"),
    ("  others called cue ball", "cue_told_wrongly"), ("obstructed stills", "obstructed"),
    ("  of them refused", "obstructed_refused_share"),
    ("clear stills refused", "clear_refused_share"), ("not read at all", "failed"),
)  # fmt: skip
PLACES = (
    ("balls", "balls"), ("median mm", "median_mm"), ("95th percentile mm", "p95_mm"),
    ("99th percentile mm", "p99_mm"), ("worst mm", "worst_mm"),
    ("inside the 95 % ellipse", "coverage_95"),
)  # fmt: skip
SEEN = (("balls at least 80 % visible", "plain"), ("all found balls", "all"))
HONESTY = ("variance", "typical", "coverage_95", "balls")
PERCENT = ("share", "coverage_95", "names_right")


def print_bench_stills(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as tables on a terminal, with what went wrong by still."""
    print_machine(figures["machine"], console)
    console.print(
        f"{figures['stills']} stills of {figures['rooms']} rooms in {escape(figures['folder'])}"
    )
    for words in truth_words(figures["truth"]):
        console.print(words)
    read = figures["read"]
    console.print(_finds(read))
    console.print(_places(read))
    for part, what in (("regions", "region of the bed"), ("noise", "noise of the still")):
        if any(row["variance"][part] for row in read.values()):
            console.print(_honesty(read, part, what))
    console.print(_steps(read))
    if figures["circles"] is not None:
        print_circles(figures["circles"], console)
    for name, row in read.items():
        for words in row["odd"]:
            console.print(escape(f"{name}: {words}"))


def truth_words(truth: Mapping[str, Any]) -> list[str]:
    """What the figures are worth where readings stand in for truth; nothing where none do."""
    places, names = truth["places"], truth["names"]
    if not places.get(READ):
        return []
    said = names.get(CONFIRMED, 0) + names.get(CORRECTED, 0)
    return [
        f"{places[READ]} of {sum(places.values())} stills hold places that were read, not "
        "measured: distances tell how far two readings differ, and nothing of their error.",
        f"{said} of {sum(names.values())} names were said by a person, {names.get(READ, 0)} were "
        "only read: those tell agreement.",
    ]


def _finds(read: Mapping[str, Any]) -> Grid:
    grid = _grid("finds, names, refusals", *read)
    for label, key in FINDS:
        if key is None:
            cells = [str(row["found"] - row["doubtful"]) for row in read.values()]
        else:
            cells = [_cell(key, row[key]) for row in read.values()]
        grid.add_row(label, *cells)
    return grid


def _places(read: Mapping[str, Any]) -> Grid:
    grid = _grid("places, clear stills", *read)
    for words, key in SEEN:
        grid.add_row(words)
        for label, figure in PLACES:
            rows = (row["places"][key] or {} for row in read.values())
            grid.add_row(f"  {label}", *(_cell(figure, row.get(figure)) for row in rows))
    return grid


def _honesty(read: Mapping[str, Any], part: str, what: str) -> Grid:
    """Measured over predicted variance, balls at least 80 % visible."""
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column(what)
    for column in ("", "measured / predicted variance", "typical", "inside the 95 %", "balls"):
        grid.add_column(column, justify="right" if column else "left")
    groups = dict.fromkeys(group for row in read.values() for group in row["variance"][part])
    for group in groups:
        for name, row in read.items():
            figures = row["variance"][part].get(group)
            if figures is not None:
                cells = (_cell(key, figures[key]) for key in HONESTY)
                grid.add_row(group, name, *cells)
    return grid


def _steps(read: Mapping[str, Any]) -> Grid:
    grid = _grid("ms a still (median), one core", *read)
    steps = [row["step_ms"] for row in read.values()]
    for name in dict.fromkeys(name for each in steps for name in each):
        grid.add_row(name, *(_cell("", each.get(name)) for each in steps))
    return grid


def _grid(first: str, *columns: str) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column(first)
    for column in columns:
        grid.add_column(column, justify="right")
    return grid


def _cell(key: str, value: float | int | None) -> str:
    if value is None:
        return "–"
    if key.endswith(PERCENT):
        return f"{100 * value:.2f} %"
    return str(value) if isinstance(value, int) else f"{value:.2f}"
