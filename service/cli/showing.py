"""``demo``, ``serve`` and ``bench``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .app import app, guarded
from .console import note, out, print_json, say, tracked
from .options import JSON

DEFAULT_PORT = 8765
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
) -> None:
    """Do the whole job on the sample stills and write a report.

    Fits the lens, calibrates, reads a practice session, scores it, and compares the reading
    with the truth that lies beside the stills. No network, no camera.
    """
    from service.demo import print_demo, run_demo, serve_demo

    done = run_demo(folder, announce=note, track=tracked)
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
    ] = "127.0.0.1",
    port: PORT = DEFAULT_PORT,
    calibration: Annotated[
        Path | None, typer.Option("--calibration", help="Calibration file to set at the start.")
    ] = None,
) -> None:
    """Run the service: post stills, set intents, see verdicts on a page. There is no login."""
    from service.api import serve as run_service

    run_service(data, host, port, open_calibration=calibration, announce=say)


@app.command()
@guarded
def bench(
    empties: Annotated[
        Path | None,
        typer.Option(
            "--empties",
            help="Folder of stills of empty tables with truth.json: measures calibrations on "
            "them instead. Kept for this, nothing tuned on them: the stills of `python -m "
            "vision.training.dataset --set empties --rooms 45 --seed 93000`.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, help="Processes for --empties, one core each; default: all cores."
        ),
    ] = None,
    as_json: JSON = False,
) -> None:
    """Measure accuracy against truth and time per step on the sample stills.

    With --empties every still is calibrated with the lens file, with the camera's height off by
    -20, -10, +10 and +20 mm, with a ball-check still where one lies beside it (NAME-ball-check),
    and with nothing; the surface is told by its nearest name, and as measured where the table
    has a size of its own. Beside them stands a homography from four true corners.
    """
    from service.bench import print_bench, run_bench
    from service.bench_rooms_figures import print_bench_rooms, run_bench_rooms

    if empties is not None:
        figures, show = run_bench_rooms(empties, workers=workers, track=tracked), print_bench_rooms
    else:
        figures, show = run_bench(announce=note, track=tracked), print_bench
    if as_json:
        print_json(figures)
    else:
        show(figures, out())
