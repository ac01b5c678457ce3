"""``teach``: a still whose balls are known to a set file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import FileFormatError
from service.words.balls import ball_name
from vision.layout import Layout

from .app import app, guarded
from .console import say
from .given.inputs import entry_of, is_layout_file, read_bytes
from .given.layouts import check_surface
from .given.options import BALL_SET, CALIBRATION, set_from
from .printing import print_layout
from .reading import read_one

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from vision.name.taught import Taught


@app.command()
@guarded
def teach(
    still: Annotated[Path, typer.Argument(metavar="STILL", help="Still of the set to learn.")],
    calibration: CALIBRATION,
    result: Annotated[Path, typer.Option("--out", help="Where to write the set.")] = Path(
        "set.json"
    ),
    names: Annotated[
        str | None,
        typer.Option(
            "--names",
            help="Which ball is which: a layout as `read --json` prints it, put right by hand, or "
            '"x,y=name;x,y=name" with places in mm for what is read wrong; default: the '
            "reading's own sure names.",
        ),
    ] = None,
    ball_set: BALL_SET = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Do not ask whether the names are right.")
    ] = False,
) -> None:
    """Teach this very ball set from a still, so that later stills are named by it.

    Every ball in a layout given by hand counts as named right; leave out what you don't know. Of
    a reading, names in doubt are left out. With --set the still is added to an earlier set.
    """
    from calibration.kept.calibration import Calibration
    from vision.known.teaching import teach_still

    made = Calibration.read(calibration)
    earlier = set_from(ball_set)
    layout = _known(still, made, names, earlier)
    if not is_layout_name(names):
        print_layout(layout)
        if not yes and not typer.confirm("Are these names right (those in doubt are left out)?"):
            say("nothing was written; say with --names which ball is which")
            raise typer.Exit(1)
    taught = teach_still(read_bytes(still), made, layout, name=str(still), taught=earlier)
    taught.write(result)
    learned = [ball.id for ball in layout.balls if not ball.doubtful]
    say(f"set written to {result}: {len(learned)} balls learned from {still}")
    missing = [name for name in (ball.id for ball in layout.balls) if name not in taught.ids]
    if missing:
        say("left out, in doubt: " + ", ".join(ball_name(name) for name in missing))


def is_layout_name(names: str | None) -> bool:
    """Whether ``--names`` means a file and not places."""
    return names is not None and "=" not in names


def _known(still: Path, made: Calibration, names: str | None, earlier: Taught | None) -> Layout:
    """The still's layout, by hand or by reading it, with its names put right."""
    from vision.name.corrected import corrected, told

    if names is not None and is_layout_name(names):
        return _by_hand(Path(names), made)
    corrections = told(names) if names is not None else ()
    layout = read_one(still, made, earlier)
    return corrected(layout, corrections) if corrections else layout


def _by_hand(path: Path, made: Calibration) -> Layout:
    """A layout from a file; whoever put it right is sure of every ball in it."""
    from dataclasses import replace

    if not is_layout_file(path):
        raise FileFormatError(
            f"--names: got {path}; allowed: a layout file (.json) as `restmark read --json` prints "
            'it, or "x,y=name;x,y=name" with places in mm. Give one of these.'
        )
    layout = entry_of(path).layout
    assert layout is not None  # a layout file holds one or refuses
    check_surface(layout, made.table)
    sure = tuple(
        replace(ball, confidence=1.0, doubtful=False, runners_up=()) for ball in layout.balls
    )
    return replace(layout, balls=sure)
