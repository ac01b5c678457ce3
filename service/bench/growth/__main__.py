"""``python -m service.bench.growth [COUNT …] [--moving] [--store URL] [--json]``: a store grows."""

from __future__ import annotations

import argparse
import json
import shutil
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table as Grid

from service.bench.practice import machine, print_machine

from .filled import fill
from .measured import measure, measure_here, shown_rows
from .moved import moved, moved_rows

GROWTH_FORMAT, GROWTH_VERSION = "restmark-bench-growth", 1
SIZES = (2_000, 20_000, 200_000)


def growth_figures(
    sizes: Sequence[int], *, url: str | None = None, moving: bool = False
) -> dict[str, Any]:
    """Fill a store of each size and measure it; with ``url`` one size, in that empty database.

    With ``moving`` it is moved instead, its stills being small files.
    """
    found = []
    for count in sizes:
        with TemporaryDirectory() as folder:
            data_dir = Path(folder) / "data"
            begun = time.perf_counter()
            fill(data_dir, count, url=url, with_stills=moving)
            filled_s = time.perf_counter() - begun
            size = sum(file.stat().st_size for file in data_dir.glob("restmark.db*")) / 1e6
            times = moved(data_dir, url=url) if moving else measure(data_dir, url=url)
            found.append(
                {
                    "attempts": count,
                    "fill_s": filled_s,
                    # a database by its URL lies elsewhere
                    "database_mb": None if url else size,
                    **times,
                }
            )
            shutil.rmtree(data_dir)
    return {
        "format": GROWTH_FORMAT,
        "version": GROWTH_VERSION,
        "machine": machine(),
        "database": "sqlite" if url is None else url.partition(":")[0],
        "sizes": found,
    }


def print_growth(figures: dict[str, Any], console: Console) -> None:
    """The figures for people."""
    print_machine(figures["machine"], console)
    is_moved = "archive_mb" in figures["sizes"][0]
    rows = moved_rows(figures["sizes"]) if is_moved else shown_rows(figures["sizes"])
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column(rows[0][0])
    for text in rows[0][1]:
        grid.add_column(text, justify="right")
    for label, texts in rows[1:]:
        grid.add_row(label, *texts)
    console.print(grid)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m service.bench.growth", description=__doc__)
    parser.add_argument("counts", type=int, nargs="*", metavar="COUNT", help=f"default: {SIZES}")
    parser.add_argument("--store", metavar="URL", help="an empty PostgreSQL database; one COUNT")
    parser.add_argument(
        "--moving", action="store_true", help="export, import and import again in place of pages"
    )
    parser.add_argument("--measure", action="store_true", help="a filled store, in --data")
    parser.add_argument("--data", type=Path, help="folder of the store to measure")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    sizes = chosen.counts or list(SIZES)
    if chosen.measure:
        if chosen.data is None:
            parser.error("--measure: allowed: with --data FOLDER of a filled store. Give it.")
        print(json.dumps(measure_here(chosen.data, url=chosen.store)))
        return 0
    if chosen.store and len(sizes) != 1:
        parser.error(f"--store: got {len(sizes)} counts; allowed: one. Give one COUNT.")
    figures = growth_figures(sizes, url=chosen.store, moving=chosen.moving)
    if chosen.json:
        print(json.dumps(figures))
    else:
        print_growth(figures, Console())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
