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
from vision.find.detect import Finder

from .app import app, guarded
from .console import note, out, print_json, say, say_code, tracked
from .given.options import (
    BALL_SET,
    FINDER,
    JSON,
    PLAYER,
    STORE,
    UNITS,
    WEIGHTS,
    FinderKind,
    finder_from,
)

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
    live: Annotated[
        bool,
        typer.Option(
            "--live",
            help="Instead, run the service and play the practice as if a camera saw it, still by "
            "still, to watch in a browser; nothing is kept.",
        ),
    ] = False,
    pace: Annotated[
        float, typer.Option("--pace", min=0.0, help="With --live: seconds from still to still.")
    ] = 5.0,
    port: PORT = DEFAULT_PORT,
    units: UNITS = Units.MM,
) -> None:
    """Do the whole job on the sample stills and write a report.

    Fits the lens, calibrates, reads a practice session, scores it, and compares the reading
    with the truth that lies beside the stills. No network, no camera.
    """
    if live:
        if serve_after:
            raise typer.BadParameter("--live runs the service itself: leave --serve out")
        from service.demo.live import run_live

        run_live(port=port, pace_s=pace, announce=say, note=note)
        return
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
    store: STORE = None,
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
    watch: Annotated[
        str | None,
        typer.Option(
            "--watch",
            metavar="CAMERA|FOLDER|VIDEO",
            help="Watch the table: a camera's number (0 is the first) or address, a folder in "
            "which stills arrive, or a video. Every rest counts as a still by itself.",
        ),
    ] = None,
    table: Annotated[
        int, typer.Option("--table", min=1, help="The table that the other options are for.")
    ] = 1,
    finder: FINDER = FinderKind.shipped,
    weights: WEIGHTS = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            min=1,
            max=64,
            help="For many tables: so many processes read stills, a core each, fair between "
            "tables; one that dies or hangs is replaced. Default: the service itself reads.",
        ),
    ] = None,
    tls_cert: Annotated[
        Path | None,
        typer.Option("--tls-cert", help="Certificate with its chain, PEM, to speak TLS with."),
    ] = None,
    tls_key: Annotated[
        Path | None, typer.Option("--tls-key", help="Its key, PEM, without a password.")
    ] = None,
    no_tls: Annotated[
        bool,
        typer.Option(
            "--no-tls",
            help="With --host: no encryption; for a network that nobody else is in, or behind a "
            "proxy that speaks TLS.",
        ),
    ] = False,
    names: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="With --host: a further name or address that others ask by; may be repeated.",
        ),
    ] = None,
    public: Annotated[
        str | None,
        typer.Option(
            "--public",
            metavar="URL",
            help="Behind a proxy: the address that devices ask by, https://practice.example for "
            "instance; the pairing code names it, and cookies go over TLS alone where it does.",
        ),
    ] = None,
    folders: Annotated[
        list[Path] | None,
        typer.Option(
            "--folder",
            metavar="DIR",
            help="With --host: a folder that the pages may choose as a source of stills; may be "
            "repeated. No other path of this machine can be named from afar.",
        ),
    ] = None,
    pairing: Annotated[
        bool,
        typer.Option("--pairing", help="Let only paired devices in on this machine alone, too."),
    ] = False,
) -> None:
    """Run the service: watch a table or post stills, set intents, see verdicts on a page.

    On this machine alone, which is the default, there is no login. With --host others reach it:
    TLS is spoken, and each device is paired once by a code that is shown here.
    """
    from service.api import serve as run_service
    from service.api.beyond import Beyond

    if (tls_cert is None) != (tls_key is None):
        raise typer.BadParameter("--tls-cert and --tls-key go together: give both or neither")
    if no_tls and tls_cert is not None:
        raise typer.BadParameter("--no-tls and --tls-cert contradict each other: leave one out")

    load = finder_from(finder, weights)
    if workers is not None and load is not None:
        raise typer.BadParameter(
            "--workers: not with --finder, whose readings go on in the service"
        )
    run_service(
        data,
        host,
        port,
        store_url=store,
        open_calibration=calibration,
        ball_set=ball_set,
        units=units,
        player=player,
        watch=watch,
        table_id=table,
        finder=None if load is None else load(),
        beyond=Beyond(
            pairing=pairing,
            tls=not no_tls,
            certificate=tls_cert,
            key=tls_key,
            names=tuple(names or ()),
            public=public,
            folders=(*(folders or ()), *(() if watch is None else (Path(watch),))),
        ),
        workers=workers,
        announce=say,
        show_code=say_code,
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
    archive: Annotated[
        bool,
        typer.Option(
            "--archive",
            help="Measure instead what reading an archive again costs by one and two workers "
            "(extra `scale`), beside a plain loop; and what a million stills would take.",
        ),
    ] = False,
    weights: Annotated[
        Path | None,
        typer.Option(
            "--weights",
            help="Weights, a .pt file, to time `predict` of ultralytics with where the extra "
            "`train` is installed, and to read with by --finder ultralytics; default: the "
            "finder's own.",
        ),
    ] = None,
    finder: FINDER = FinderKind.shipped,
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
    other = finder is not FinderKind.shipped
    if other and stills is None:
        raise typer.BadParameter("--finder needs --stills")
    for figures, show in _benches(
        _Folders(
            empties=empties,
            stills=stills,
            fitted=fitted,
            timing=timing,
            drift=drift,
            archive=archive,
        ),
        weights=weights,
        workers=workers,
        finder=finder_from(finder, weights) if other else None,
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
    archive: bool


def _benches(
    folders: _Folders,
    *,
    weights: Path | None,
    workers: int | None,
    finder: Callable[[], Finder] | None,
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
            run_bench_stills(
                folders.stills, fitted=folders.fitted, workers=workers, track=tracked, finder=finder
            ),
            print_bench_stills,
        )
    if folders.timing is not None:
        from service.bench.stills.time import print_bench_time, run_bench_time

        yield run_bench_time(folders.timing, weights=weights, track=tracked), print_bench_time
    if folders.drift is not None:
        from service.bench.drift.noticed import drift_figures, print_drift

        yield drift_figures(folders.drift, track=tracked), print_drift
    if folders.archive:
        from service.bench.archive import print_bench_archive, run_bench_archive

        yield run_bench_archive(announce=note), print_bench_archive
    if not any((folders.empties, folders.stills, folders.timing, folders.drift, folders.archive)):
        from service.bench.whole import print_all, run_bench

        figures = run_bench(announce=note, track=tracked, weights=weights, workers=workers)
        yield figures, print_all
