"""A layout as a table for people."""

from __future__ import annotations

from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from service.words.balls import ball_name, error_95_mm
from service.words.lengths import Lengths, Units
from service.words.set_up.cameras import camera_words
from vision.layout import Layout

from .console import out, say


def print_layout(layout: Layout, units: Units = Units.MM) -> None:
    """A layout as a table for people; in diamonds beside another unit."""
    lengths = Lengths(units=units, surface_mm=layout.surface_mm)
    beside = ["diamonds"] if units is not Units.DIAMONDS else []
    state = "  view obstructed" if layout.obstructed else ""
    state += "" if layout.settled else "  not settled"
    say(f"{layout.still}  {len(layout.balls)} balls{state}")
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("ball")
    sign = lengths.sign
    seen_by = ["seen by"] if layout.cameras else []
    for heading in (f"x {sign}", f"y {sign}", f"± {sign} (95 %)", *beside, "name", *seen_by):
        grid.add_column(heading, justify="right")
    for ball in layout.balls:
        grid.add_row(
            ball_name(ball.id),
            *lengths.coordinates(ball.centre_mm),
            lengths.number(error_95_mm(ball), fine=True),
            *([lengths.beside(ball.centre_mm).removesuffix(" diamonds")] if beside else []),
            _name_words(ball.confidence, ball.doubtful, ball.runners_up),
            *([", ".join(ball.seen_by)] if seen_by else []),
        )
    out().print(grid)
    for part in layout.cameras:
        out().print(f"  {escape(camera_words(part, lengths))}")
    for warning in layout.warnings:
        out().print(f"  note: {escape(warning)}")


def _name_words(
    confidence: float, doubtful: bool, runners_up: tuple[tuple[str, float], ...]
) -> str:
    if not doubtful:
        return f"{100 * confidence:.0f} %"
    others = ", ".join(f"{name} {100 * share:.0f} %" for name, share in runners_up)
    return f"in doubt, {100 * confidence:.0f} %" + (f"; or {others}" if others else "")
