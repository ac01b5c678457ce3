"""``python -m service.bench.load [--rate N] [--seconds T]``: how many stills a service takes."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from rich.console import Console

from service.bench.practice import machine, print_machine
from service.demo.samples import SHOTS_FOLDER, sample_stills

from .posted import Post
from .screens import open_screens
from .served import Watched, calibrate, service

LOAD_FORMAT, LOAD_VERSION = "restmark-bench-load", 1
RATE, SECONDS = 10.0, 120.0
KEPT_UP = 0.98
"""A rate of at least this share of the asked one has been kept up."""
BUSY = 0.85
"""Of the cores: from here on they are what bounds the rate."""


def load_figures(
    *, rate: float = RATE, seconds: float = SECONDS, url: str | None = None, screens: int = 0
) -> dict[str, Any]:
    """Start a service on an empty store and post the sample stills to it.

    So many ``screens`` have its practice page open meanwhile.
    """
    with TemporaryDirectory() as folder, service(Path(folder) / "data", url=url) as (port, pid):
        return load_on(port, pid, rate=rate, seconds=seconds, screens=screens)


def load_on(
    port: int, pid: int, *, rate: float, seconds: float, screens: int = 0
) -> dict[str, Any]:
    """The same of the service on that port in that process."""
    calibrate(port)
    stills = [still.read_bytes() for still in sample_stills(SHOTS_FOLDER)]
    # the first stills load the networks; they are not measured
    Post(port, stills, rate, 4).run()
    post = Post(port, stills[::-1], rate, max(round(rate * seconds), 1))
    watched = Watched(pid)
    with open_screens(port, screens) as opened, watched.watching():
        wall_s = post.run()
    cores = len(os.sched_getaffinity(0))
    found = post.figures(wall_s)
    busy = watched.cpu_s / wall_s / cores
    return {
        "format": LOAD_FORMAT,
        "version": LOAD_VERSION,
        "machine": machine(),
        "asked_rate": rate,
        "screens": screens,
        "parts_fetched": sum(screen.fetched for screen in opened),
        "parts_as_before": sum(screen.same for screen in opened),
        **found,
        "memory": watched.figures(),
        "cores": cores,
        "cores_busy": busy,
        "cpu_ms_a_still": watched.cpu_s * 1e3 / max(found["stills"], 1),
        "bound_by": bound_by(found["rate"] / rate, busy),
    }


def bound_by(share: float, busy: float) -> str:
    """What keeps the rate down: ``nothing``, ``processor`` or ``waiting``.

    ``share`` of the asked rate was reached, with so large a share of the cores ``busy``.
    """
    if share >= KEPT_UP:
        return "nothing"
    return "processor" if busy >= BUSY else "waiting"


_BOUND = {
    "nothing": "kept up",
    "processor": "bounded by the processor",
    "waiting": "bounded by waiting: for other programs, the disk, or one still for another",
}


def print_load(figures: dict[str, Any], console: Console) -> None:
    """The figures for people."""
    print_machine(figures["machine"], console)
    wait, memory = figures["wait_ms"], figures["memory"]
    statuses = ", ".join(f"{count} × {code}" for code, count in figures["statuses"].items())
    console.print(
        f"{figures['stills']} stills at {figures['asked_rate']:g} a second in "
        f"{figures['seconds']:.0f} s: {figures['rate']:.2f} a second answered ({statuses}); "
        f"{_BOUND[figures['bound_by']]}"
    )
    if wait["p50"] is not None:
        console.print(
            f"from due to answered: {wait['p50']:.0f} ms in the median, {wait['p90']:.0f} of nine "
            f"in ten, {wait['p99']:.0f} of 99 in 100, {wait['p100']:.0f} at worst; reading "
            f"{figures['reading_ms'] or 0:.0f}"
        )
    console.print(
        f"memory {memory['begin_mb']:.0f} MB at the beginning, {memory['end_mb']:.0f} at the end, "
        f"{memory['most_mb']:.0f} at most; {memory['second_half_mb']:+.1f} MB over the second half"
    )
    if figures["screens"]:
        console.print(
            f"{figures['screens']} open pages fetched {figures['parts_fetched']} new parts; "
            f"{figures['parts_as_before']} were as before"
        )
    console.print(
        f"processor {figures['cpu_ms_a_still']:.0f} ms a still, "
        f"{figures['cores_busy']:.0%} of {figures['cores']} cores"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m service.bench.load", description=__doc__)
    parser.add_argument("--rate", type=float, default=RATE, help="stills a second")
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--screens", type=int, default=0, help="practice pages open meanwhile")
    parser.add_argument("--store", metavar="URL", help="an empty PostgreSQL database")
    parser.add_argument("--port", type=int, help="a service that runs already, with --pid")
    parser.add_argument("--pid", type=int, help="its process, for memory and processor")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    if (chosen.port is None) != (chosen.pid is None):
        parser.error("--port: allowed: together with --pid. Give both.")
    if chosen.port is None:
        figures = load_figures(
            rate=chosen.rate, seconds=chosen.seconds, url=chosen.store, screens=chosen.screens
        )
    else:
        figures = load_on(
            chosen.port, chosen.pid, rate=chosen.rate, seconds=chosen.seconds,
            screens=chosen.screens,
        )  # fmt: skip
    if chosen.json:
        print(json.dumps(figures))
    else:
        print_load(figures, Console())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
