"""``read``: stills to layouts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from calibration.errors import RestmarkError
from calibration.table import Table
from service.words.balls import ball_name, error_95_mm
from service.words.lengths import diamonds
from vision.layout import Layout

from .app import REFUSED, app, guarded
from .console import complain, out, print_json, say, tracked
from .given.inputs import read_bytes
from .given.layouts import error_object
from .given.options import BALL_SET, CALIBRATION, JSON, set_from

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from vision.name.taught import Taught


@app.command()
@guarded
def read(
    stills: Annotated[
        list[Path], typer.Argument(metavar="STILL", help="Stills to read, JPEG or PNG.")
    ],
    calibration: CALIBRATION,
    ball_set: BALL_SET = None,
    as_json: JSON = False,
) -> None:
    """Find and name every ball in stills, in millimetres, each with its error.

    A still that cannot be read is reported and the others go on; the exit code is then 1.
    """
    from calibration.kept.calibration import Calibration

    made = Calibration.read(calibration)
    taught = set_from(ball_set)
    failed = False
    for path in tracked(stills, "reading stills"):
        try:
            layout = read_one(path, made, taught)
        except RestmarkError as refused:
            failed = True
            complain(refused.detail)
            if as_json:
                print_json({"still": str(path), "error": error_object(refused)})
            continue
        if as_json:
            print_json(layout.to_dict())
        else:
            print_layout(layout, made.table)
    if failed:
        raise typer.Exit(REFUSED)


def read_one(path: Path, made: Calibration, taught: Taught | None = None) -> Layout:
    """The layout in one still file."""
    from vision.read import read_still

    return read_still(read_bytes(path), made, name=str(path), taught=taught)


def print_layout(layout: Layout, table: Table) -> None:
    """A layout as a table for people."""
    state = "  view obstructed" if layout.obstructed else ""
    state += "" if layout.settled else "  not settled"
    say(f"{layout.still}  {len(layout.balls)} balls{state}")
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("ball")
    for heading in ("x mm", "y mm", "± mm (95 %)", "diamonds", "name"):
        grid.add_column(heading, justify="right")
    for ball in layout.balls:
        grid.add_row(
            ball_name(ball.id),
            f"{ball.x_mm:.1f}",
            f"{ball.y_mm:.1f}",
            f"{error_95_mm(ball):.1f}",
            diamonds(table.surface_mm, ball.centre_mm),
            _name_words(ball.confidence, ball.doubtful, ball.runners_up),
        )
    out().print(grid)
    for warning in layout.warnings:
        out().print(f"  note: {escape(warning)}")


def _name_words(
    confidence: float, doubtful: bool, runners_up: tuple[tuple[str, float], ...]
) -> str:
    if not doubtful:
        return f"{100 * confidence:.0f} %"
    others = ", ".join(f"{name} {100 * share:.0f} %" for name, share in runners_up)
    return f"in doubt, {100 * confidence:.0f} %" + (f"; or {others}" if others else "")
