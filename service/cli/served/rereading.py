"""``reread``: an archive read again with today's networks, and what that changes."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from service.words.archive.lines import (
    adopted_lines,
    compared_lines,
    done_lines,
    estimate_lines,
    time_said,
)

from ..app import REFUSED, app, guarded
from ..console import err, note, print_json, say
from ..given.inputs import moment
from ..given.options import JSON, STORE
from .moving import DATA, OF_TABLE, SINCE

if TYPE_CHECKING:
    from service.rereading import Progress as Far

_NOTE_EVERY_S = 20.0


class Which(StrEnum):
    """Which calibration a still is read with."""

    own = "own"
    newest = "newest"


@app.command(name="reread")
@guarded
def reread_(
    data: DATA = Path("restmark-data"),
    store: STORE = None,
    since: SINCE = None,
    table: OF_TABLE = None,
    calibration: Annotated[
        Which,
        typer.Option(
            "--calibration",
            help="Each still's own, or the newest of its table.",
            show_default=True,
        ),
    ] = Which.own,
    stills: Annotated[
        str | None,
        typer.Option(
            "--stills",
            metavar="DIR|URL",
            help="Where the workers find the stills' files, each named by its hash: a folder, "
            "https://…, s3://BUCKET/stills, or zip://stills::URL for an archive of `restmark "
            "export`; default: stills/ of --data.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler",
            metavar="ADDRESS",
            help="Have the workers of this running Dask scheduler read, tcp://HOST:8786; default: "
            "processes of this machine.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, help="Processes on this machine, one core each; default: all cores."
        ),
    ] = None,
    dry_run: Annotated[
        bool,
        typer.Option("--dry-run", help="Say what would be read and what it costs; keep nothing."),
    ] = False,
    adopt: Annotated[
        bool,
        typer.Option(
            "--adopt",
            help="After the comparison, put the new readings in the old ones' places and judge "
            "their attempts again. No service may run on the store.",
        ),
    ] = False,
    as_json: JSON = False,
) -> None:
    """Read stored stills again with today's networks; new readings stand beside the old ones.

    What was read so already is passed over, so the same command again goes on where it was
    stopped. At the end it says how the new readings differ from those that the tables go by;
    nothing of a table, an attempt or a figure changes without --adopt. Needs the extra `scale`.
    """
    if scheduler is not None and workers is not None:
        raise typer.BadParameter("--workers: not with --scheduler, which has its own")
    if dry_run and adopt:
        raise typer.BadParameter("--dry-run: not with --adopt")
    from service.rereading import Wanted, compare, estimate, reread_all, target_of
    from service.rereading import adopt as adopt_all
    from service.store import Store

    wanted = Wanted(table_id=table, since=moment("--since", since), newest=calibration == "newest")
    with contextlib.closing(Store(data, store, must_exist=True, hold=adopt)) as held:
        target = target_of(held, wanted)
        if dry_run:
            found = estimate(held, target, stills=stills).to_dict()
            _tell({"estimate": found}, estimate_lines(found), as_json)
            return
        with _progress() as tell:
            done = asdict(
                reread_all(
                    held, target, stills=stills, scheduler=scheduler, workers=workers, tell=tell
                )
            )
        _tell({"done": done}, done_lines(done), as_json)
        compared = compare(held, target).to_dict()
        _tell({"compared": compared}, compared_lines(compared), as_json)
        if adopt:
            adopted = asdict(adopt_all(held, target))
            _tell({"adopted": adopted}, adopted_lines(adopted), as_json)
        elif compared["stills"]:
            note("nothing of that counts yet; --adopt puts it in the old readings' places")
    if done["gone"]:
        raise typer.Exit(REFUSED)


def _tell(answer: dict[str, Any], lines: Iterator[str], as_json: bool) -> None:
    if as_json:
        print_json(answer)
        return
    for line in lines:
        say(line)


@contextlib.contextmanager
def _progress() -> Iterator[Any]:
    """How far it is on standard error: a bar on a terminal, else a line now and then."""
    console = err()
    if console.is_terminal:
        columns = (
            TextColumn("reading again"),
            BarColumn(bar_width=32),
            MofNCompleteColumn(),
            TextColumn("{task.fields[words]}"),
        )
        with Progress(*columns, console=console, transient=True) as bar:
            task = bar.add_task("", total=None, words="workers start")

            def show(far: Far) -> None:
                bar.update(task, completed=far.done, total=far.total, words=_rate(far))

            yield show
        return
    last = [time.monotonic()]

    def line(far: Far) -> None:
        if time.monotonic() - last[0] > _NOTE_EVERY_S:
            last[0] = time.monotonic()
            note(f"{far.done} of {far.total} stills, {_rate(far)}")

    yield line


def _rate(far: Far) -> str:
    left = "" if far.left_s is None else f", {time_said(far.left_s)} left"
    return f"{far.per_s:.1f} a second{left}"
