"""``python -m service.bench.page [COUNT] [--turns N] [--json]``: an empty store and a full one."""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import Console
from rich.table import Table as Grid

from calibration.errors import RestmarkError
from service.bench.practice import machine, print_machine

from .measured import PAGES, Measuring, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PAGE_FORMAT, PAGE_VERSION = "restmark-bench-page", 1
COUNT, TURNS = 2_000, 15
LIMITS = {"verdict_ms": 300.0, "zone_ms": 100.0, "first_paint_ms": 1_000.0, "page_bytes": 250_000.0}
"""What is wanted at most, of either store."""
_MORE = 1.2
"""A full store may cost a fifth more than an empty one."""
_ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def page_figures(count: int = COUNT, *, turns: int = TURNS) -> dict[str, Any]:
    """Both stores in turns, so that what else the machine does hits both alike.

    Raises:
        RestmarkError: playwright or Chromium is not installed (code "no-browser").
    """
    with TemporaryDirectory() as folder, _chromium() as browser, ExitStack() as stack:
        found = {}
        for attempts in (0, count):
            port = stack.enter_context(served(Path(folder) / str(attempts), attempts))
            found[attempts] = Measuring(browser, port)
            stack.callback(found[attempts].close)
        for each in found.values():
            each.turn()  # the first one warms up
            each.forget()
        for _ in range(turns):
            for each in found.values():
                each.turn()
        return {
            "format": PAGE_FORMAT,
            "version": PAGE_VERSION,
            "machine": machine(),
            "limits": LIMITS,
            "stores": [
                {"attempts": attempts, **each.figures()} for attempts, each in found.items()
            ],
        }


@contextmanager
def _chromium() -> Iterator[Browser]:
    path = shutil.which("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        path = None
    if path is None:
        raise RestmarkError(
            "browser: none is there; allowed: Debian's chromium with playwright. `apt-get install "
            "chromium`, then `pip install 'restmark[test]'`.",
            code="no-browser",
        )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(_ARGUMENTS))
        yield browser
        browser.close()


def print_pages(figures: dict[str, Any], console: Console) -> None:
    """The figures for people, each beside its limit."""
    print_machine(figures["machine"], console)
    empty, full = figures["stores"]
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("median")
    for text in ("empty store", f"{full['attempts']:,} attempts", "ratio", "at most"):
        grid.add_column(text, justify="right")
    for label, one, other, limit in rows(empty, full):
        ratio = other / one if one else 1.0
        care = " !" if ratio > _MORE or max(one, other) > limit else ""
        grid.add_row(label, f"{one:,.0f}", f"{other:,.0f}", f"{ratio:.2f}{care}", f"{limit:,.0f}")
    console.print(grid)


def rows(empty: dict[str, Any], full: dict[str, Any]) -> Iterator[tuple[str, float, float, float]]:
    """Label, empty store, full store, limit."""
    for key, label in (
        ("verdict_ms", "still given to verdict on the screen, ms"),
        ("zone_ms", "tap to zone on the screen, ms"),
    ):
        yield label, empty[key], full[key], LIMITS[key]
    for key, label in (("first_paint_ms", "first paint, ms"), ("page_bytes", "bytes")):
        for path in PAGES:
            yield f"/{path}: {label}", empty[key][path], full[key][path], LIMITS[key]


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m service.bench.page", description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=COUNT, help=f"default: {COUNT}")
    parser.add_argument("--turns", type=int, default=TURNS, help=f"shots of each; {TURNS}")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    figures = page_figures(chosen.count, turns=chosen.turns)
    if chosen.json:
        print(json.dumps(figures))
    else:
        print_pages(figures, Console())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
