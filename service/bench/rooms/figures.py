"""What the calibrations of many rooms come to: figures a case, as JSON and as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table as Grid

from service.bench.practice import machine, print_machine
from service.demo.trial import Track, untracked

from .calibrations import CASES, TAPES, Outcome, measure_rooms

ROOMS_FORMAT = "restmark-bench-rooms"
ROOMS_VERSION = 1
ALL_TAPES = "tape, all of them"


def run_bench_rooms(
    folder: Path, *, workers: int | None = None, track: Track = untracked
) -> dict[str, Any]:
    """Calibrate every empty still of ``folder`` in every way; a plain JSON object."""
    outcomes = measure_rooms(folder, workers=workers, track=track)
    return {
        "format": ROOMS_FORMAT,
        "version": ROOMS_VERSION,
        "machine": machine(),
        "folder": folder.name,
        "stills": len({outcome.still for outcome in outcomes}),
        "cases": case_figures(outcomes),
        "outcomes": [asdict(outcome) | {"beyond_twice": outcome.beyond_twice}
                     for outcome in outcomes],
    }  # fmt: skip


def case_figures(outcomes: Sequence[Outcome]) -> dict[str, dict[str, Any]]:
    """Figures of every case that any still was calibrated in; the tapes together too."""
    groups = {case: [o for o in outcomes if o.case == case] for case in CASES}
    tapes = [o for o in outcomes if o.case in TAPES]
    ordered = {}
    for case, group in groups.items():
        ordered[case] = group
        if case == TAPES[-1]:
            ordered[ALL_TAPES] = tapes
    return {case: figures_of(group) for case, group in ordered.items() if group}


def figures_of(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """Success, errors against what is stated, and time, over the stills of one case.

    ``median_within`` and ``worst_within``: part of the calibrated stills whose true median (worst)
    error over the bed is within the stated 95 % error's median (worst). ``places_within``: part of
    all places of all beds within what is stated for that place. None where nothing is stated or
    nothing was calibrated.
    """
    made = [o for o in outcomes if not o.refused]
    stating = [
        (o, o.stated_median_mm, o.stated_worst_mm)
        for o in made
        if o.stated_median_mm and o.stated_worst_mm
    ]
    return {
        "stills": len(outcomes),
        "calibrated": len(made),
        "success_rate": len(made) / len(outcomes),
        "median_of_medians_mm": _over(np.median, [o.median_mm for o in made]),
        "worst_median_mm": _over(np.max, [o.median_mm for o in made]),
        "median_of_worst_mm": _over(np.median, [o.worst_mm for o in made]),
        "worst_mm": _over(np.max, [o.worst_mm for o in made]),
        "stated_median_mm": _over(np.median, [median for _, median, _ in stating]),
        "stated_worst_mm": _over(np.median, [worst for *_, worst in stating]),
        "median_within": _over(np.mean, [o.median_mm <= most for o, most, _ in stating]),
        "worst_within": _over(np.mean, [o.worst_mm <= most for o, _, most in stating]),
        "places_within": _over(np.mean, [o.places_within for o, *_ in stating]),
        "beyond_twice": sorted({o.still for o in made if o.beyond_twice}),
        "refused": [{"still": o.still, "reason": o.refused} for o in outcomes if o.refused],
        "seconds_median": _over(np.median, [o.seconds for o in outcomes]),
        "seconds_worst": _over(np.max, [o.seconds for o in outcomes]),
        "cpu_s_median": _over(np.median, [o.cpu_s for o in outcomes]),
        "cpu_s_worst": _over(np.max, [o.cpu_s for o in outcomes]),
    }


def _over(how: Any, values: Sequence[Any]) -> float | None:
    return float(how(values)) if values else None


# -- print -----------------------------------------------------------------------------------

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "made": ("calibrated", "stills"),
    "median, worst": ("median_of_medians_mm", "worst_median_mm"),
    "worst: median, worst": ("median_of_worst_mm", "worst_mm"),
    "stated": ("stated_median_mm", "stated_worst_mm"),
    "within: median, worst, places": ("median_within", "worst_within", "places_within"),
    "beyond twice": ("beyond_twice",),
    "s": ("seconds_median", "seconds_worst"),
    "cpu s": ("cpu_s_median", "cpu_s_worst"),
}


def print_bench_rooms(figures: Mapping[str, Any], console: Console) -> None:
    """The figures as a table on a terminal, with every refusal and every bad miss by name."""
    print_machine(figures["machine"], console)
    console.print(
        f"{figures['stills']} empty stills of {figures['folder']}; error over the bed at ball "
        "height, mm, in the table's own frame; stated errors are those of 95 %"
    )
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("what is given")
    for title in COLUMNS:
        grid.add_column(title, justify="right")
    for case, row in figures["cases"].items():
        cells = (" / ".join(_cell(key, row) for key in keys) for keys in COLUMNS.values())
        grid.add_row(case, *cells)
    console.print(grid)
    refused: dict[str, list[str]] = {}
    for case, row in figures["cases"].items():
        if case == ALL_TAPES:
            continue
        for name in row["beyond_twice"]:
            console.print(escape(f"beyond twice what is stated: {name}, {case}"))
        for item in row["refused"]:
            refused.setdefault(f"{item['still']}: {item['reason']}", []).append(case)
    for words, cases in refused.items():
        console.print(escape(f"refused ({', '.join(cases)}): {words}"))


def _cell(key: str, row: Mapping[str, Any]) -> str:
    value = row[key]
    if value is None:
        return "–"
    if isinstance(value, list):
        return str(len(value))
    if key.endswith("within"):
        return f"{100 * value:.0f} %"
    if isinstance(value, int):
        return str(value)
    return f"{value:.2f}" if key.endswith("_mm") else f"{value:.1f}"
