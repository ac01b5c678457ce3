"""``demo``, ``serve`` and ``bench``."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from service.address import DEFAULT_HOST, DEFAULT_PORT
from service.words.lengths import Units

from .app import app, guarded
from .console import note, out, print_json, say, tracked
from .given.options import BALL_SET, JSON, PLAYER, UNITS

Show = Callable[[Mapping[str, Any], Console], None]
PORT = Annotated[
    int, typer.Option("--port", min=1, max=65535, help="Port to listen on.", show_default=True)
]


@app.command()
@guarded
def demo(
    folder: Annotated[
        Path, typer.Option("--out", help="Folder for the report and JSON; made if missing.")
    ] = Path("restmark-demo"),
    serve_after: Annotated[
        bool, typer.Option("--serve", help="Leave the service running on the demo's data.")
    ] = False,
    port: PORT = DEFAULT_PORT,
    units: UNITS = Units.MM,
) -> None:
    """Do the whole job on the sample stills and write a report.

    Fits the lens, calibrates, reads a practice session, scores it, and compares the reading
    with the truth that lies beside the stills. No network, no camera.
    """
    from service.demo.show import print_demo, run_demo, serve_demo

    done = run_demo(folder, units=units, announce=note, track=tracked)
    print_demo(done, out())
    if serve_after:
        serve_demo(done, port=port, announce=say)


@app.command()
@guarded
def serve(
    data: Annotated[
        Path, typer.Option("--data", help="Folder for the store; made if missing.")
    ] = Path("restmark-data"),
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; the default is this machine only.")
    ] = DEFAULT_HOST,
    port: PORT = DEFAULT_PORT,
    calibration: Annotated[
        Path | None, typer.Option("--calibration", help="Calibration file to set at the start.")
    ] = None,
    ball_set: BALL_SET = None,
    units: UNITS = Units.MM,
    player: PLAYER = None,
) -> None:
    """Run the service: post stills, set intents, see verdicts on a page. There is no login."""
    from service.api import serve as run_service

    run_service(
        data,
        host,
        port,
        open_calibration=calibration,
        ball_set=ball_set,
        units=units,
        player=player,
        announce=say,
    )


@app.command()
@guarded
def bench(
    empties: Annotated[
        Path | None,
        typer.Option(
            "--empties",
            help="Folder of stills of empty tables with truth.json: measures calibrations on "
            "them instead. Kept for this, nothing tuned on them: the stills of `python -m "
            "vision.training.dataset --set empties --rooms 45 --seed 93000`, and of `--set built "
            "--rooms 60 --seed 94000`.",
        ),
    ] = None,
    stills: Annotated[
        Path | None,
        typer.Option(
            "--stills",
            help="Folder of rendered stills with truth.json: measures readings on them instead. "
            "Kept for this, nothing tuned on them: the stills of `python -m "
            "vision.training.dataset --set measure --rooms 64 --each 5 --seed 710000`.",
        ),
    ] = None,
    fitted: Annotated[
        bool,
        typer.Option(
            "--fitted",
            help="With --stills: read them with a calibration from the room's …empty still too.",
        ),
    ] = False,
    timing: Annotated[
        Path | None,
        typer.Option(
            "--timing",
            help="Folder of rendered stills with truth.json: times readings of 60 of them instead.",
        ),
    ] = None,
    drift: Annotated[
        Path | None,
        typer.Option(
            "--drift",
            help="Folder with …empty stills and truth.json: measures how known moves of camera "
            "and table are noticed instead.",
        ),
    ] = None,
    weights: Annotated[
        Path | None,
        typer.Option(
            "--weights",
            help="Weights, a .pt file, to time `predict` of ultralytics with where the extra "
            "`train` is installed; default: the finder's own.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option("--workers", min=1, help="Processes, one core each; default: two."),
    ] = None,
    as_json: JSON = False,
) -> None:
    """Measure accuracy against truth, time and memory on the sample stills, or on other folders.

    Timings are medians; how busy the machine was stands beside them. Each folder given is measured
    in turn, one JSON object each.

    With --empties every still is calibrated with the lens file, with the camera's height off by
    -20, -10, +10 and +20 mm, with a ball-check still where one lies beside it (NAME-ball-check),
    and with nothing; the surface is told by its nearest name, and as measured where the table
    has a size of its own. Beside them stands a homography from four true corners.
    """
    for figures, show in _benches(
        _Folders(empties=empties, stills=stills, fitted=fitted, timing=timing, drift=drift),
        weights=weights,
        workers=workers,
    ):
        if as_json:
            print_json(figures)
        else:
            show(figures, out())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Folders:
    """What to measure; the sample stills where no folder is given."""

    empties: Path | None
    stills: Path | None
    fitted: bool
    timing: Path | None
    drift: Path | None


def _benches(
    folders: _Folders, *, weights: Path | None, workers: int | None
) -> Iterator[tuple[Mapping[str, Any], Show]]:
    """The figures of each bench asked for, with what prints them."""
    if folders.fitted and folders.stills is None:
        raise typer.BadParameter("--fitted needs --stills")
    if folders.empties is not None:
        from service.bench.rooms.figures import print_bench_rooms, run_bench_rooms

        yield run_bench_rooms(folders.empties, workers=workers, track=tracked), print_bench_rooms
    if folders.stills is not None:
        from service.bench.stills.figures import run_bench_stills
        from service.bench.stills.tables import print_bench_stills

        yield (
            run_bench_stills(folders.stills, fitted=folders.fitted, workers=workers, track=tracked),
            print_bench_stills,
        )
    if folders.timing is not None:
        from service.bench.stills.time import print_bench_time, run_bench_time

        yield run_bench_time(folders.timing, weights=weights, track=tracked), print_bench_time
    if folders.drift is not None:
        from service.bench.drift.noticed import drift_figures, print_drift

        yield drift_figures(folders.drift, track=tracked), print_drift
    if not (folders.empties or folders.stills or folders.timing or folders.drift):
        from service.bench.whole import print_all, run_bench

        figures = run_bench(announce=note, track=tracked, weights=weights, workers=workers)
        yield figures, print_all
