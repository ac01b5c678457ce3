"""Time of landing zones, verdicts, chance maps and routes on layouts of fifteen balls."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table as Grid

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, POCKET_NAMES, PointMm, Table
from service.position import Intent, LandingZone, landing_zone, score_shot
from service.position.plan.chance_map import chance_map
from service.position.plan.route import report_route
from service.position.verdict.value import open_pockets
from service.position.zone.landing import zone_of
from vision.layout import Ball, Layout

SEED = 515
LAYOUTS = 20
REPEATS = 5
BALLS = 15
COV = ((0.09, 0.01), (0.01, 0.09))
"""A reading's error of 0.3 mm."""


@dataclass(frozen=True, slots=True)
class _Case:
    before: Layout
    after: Layout
    intent: Intent
    zone: LandingZone


def position_figures(*, layouts: int = LAYOUTS) -> dict[str, Any]:
    """Milliseconds of process time, the least of five repeats, over seeded layouts.

    ``zone``: one pocket, every limit in use, fourteen other balls. ``zone_any_pocket``: the union
    over all pockets. ``verdict``: the score of a stop whose zone is known; ``score``: both.
    ``map``: pot chance of one ball at 10 mm over a 9 ft bed, best of all pockets. ``route``: one
    route with its zone.
    """
    table = Table()
    cases = list(_cases(np.random.default_rng(SEED), table, layouts))
    times: dict[str, list[float]] = {}
    for case in cases:
        for name, work in _work(case, table).items():
            keep_zone = name == "verdict"
            times.setdefault(name, []).append(_least_ms(work, keep_zone=keep_zone))
    return {
        "layouts": len(cases),
        "balls": BALLS,
        **{f"{name}_ms": _spread(values) for name, values in times.items()},
    }


def _work(case: _Case, table: Table) -> dict[str, Callable[[], object]]:
    intent, after = case.intent, case.after
    free = replace(intent, next_pocket=None)
    planned = replace(intent, route_mm=_route(case, table))
    return {
        "zone": lambda: landing_zone(after, intent, table),
        "zone_any_pocket": lambda: landing_zone(after, free, table),
        "verdict": lambda: score_shot(case.before, after, intent, table),
        "score": lambda: score_shot(case.before, after, intent, table),
        "map": lambda: chance_map(after, "1", table),
        "route": lambda: report_route(case.before, planned, table),
    }


def _cases(rng: np.random.Generator, table: Table, layouts: int) -> Iterator[_Case]:
    """Layouts whose zone is not empty, each with the cue ball's stop near the zone's edge."""
    found = 0
    while found < layouts:
        places = _places(rng, table, BALLS)
        intent = Intent(
            next="1",
            next_pocket=POCKET_NAMES[int(rng.integers(6))],
            cut_deg=(5.0, 80.0),
            side="either",
            distance_mm=(60.0, 2500.0),
            cushion_mm=40.0,
        )
        there = _layout(table, places)
        zone = landing_zone(there, intent, table)
        if zone.is_empty or zone.wanted_mm is None:
            continue
        found += 1
        after = _layout(table, {"cue": zone.wanted_mm} | places)
        yield _Case(before=after, after=after, intent=intent, zone=zone)


def _places(rng: np.random.Generator, table: Table, count: int) -> dict[str, PointMm]:
    placed: list[PointMm] = []
    high = np.asarray(table.surface_mm) - FROZEN_INSET_MM
    while len(placed) < count:
        x, y = rng.uniform((FROZEN_INSET_MM, FROZEN_INSET_MM), high)
        if all(math.dist((x, y), other) >= BALL_DIAMETER_MM for other in placed):
            placed.append((float(x), float(y)))
    return {str(number): place for number, place in enumerate(placed, start=1)}


def _layout(table: Table, places: dict[str, PointMm]) -> Layout:
    balls = tuple(Ball(id=name, x_mm=x, y_mm=y, cov_mm2=COV) for name, (x, y) in places.items())
    return Layout(still="bench", surface_mm=table.surface_mm, balls=balls)


def _route(case: _Case, table: Table) -> tuple[PointMm, ...]:
    """From the centre string by the left cushion to the wanted spot."""
    end = case.zone.wanted_mm
    assert end is not None
    rail = (end[0] + 0.3 * (table.length_mm / 2 - end[0]), table.width_mm - FROZEN_INSET_MM)
    return ((table.length_mm / 2, table.width_mm / 2), rail, end)


def _least_ms(work: Callable[[], object], *, keep_zone: bool) -> float:
    """Process time of the quickest repeat; nothing but perhaps the zone is kept in between."""
    best = math.inf
    for _ in range(REPEATS):
        if not keep_zone:
            zone_of.cache_clear()
        open_pockets.cache_clear()
        started = time.process_time()
        work()
        best = min(best, time.process_time() - started)
    return best * 1e3


def _spread(values: list[float]) -> dict[str, float]:
    return {"median": float(np.median(values)), "worst": float(np.max(values))}


# -- print -----------------------------------------------------------------------------------

WORDS = (
    ("landing zone, one pocket", "zone"), ("landing zone, all pockets", "zone_any_pocket"),
    ("verdict, zone known", "verdict"), ("zone and verdict", "score"),
    ("chance map at 10 mm, 9 ft", "map"), ("route with its zone", "route"),
)  # fmt: skip


def print_position(figures: Mapping[str, Any], console: Console) -> None:
    """The times as a table on a terminal."""
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column(f"processor ms, {figures['layouts']} layouts of {figures['balls']} balls")
    grid.add_column("median", justify="right")
    grid.add_column("worst", justify="right")
    for label, name in WORDS:
        spread = figures[f"{name}_ms"]
        grid.add_row(label, f"{spread['median']:.1f}", f"{spread['worst']:.1f}")
    console.print(grid)
