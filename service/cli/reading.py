"""``read``: stills to layouts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import RestmarkError
from service.words.lengths import Units
from vision.layout import Layout

from .app import REFUSED, app, guarded
from .console import complain, print_json, tracked
from .given.cameras import ByCalibration, groups_of
from .given.inputs import read_bytes
from .given.layouts import error_object
from .given.options import (
    BALL_SET,
    CALIBRATIONS_OR_SERVER,
    FINDER,
    JSON,
    UNITS,
    WEIGHTS,
    FinderKind,
    finder_from,
    set_from,
)
from .printing import print_layout
from .served.asked import AT_TABLE, SERVER, TOKEN, TRUST, Service, read_there, refuse_beside_server

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from vision.find.detect import Finder
    from vision.name.taught import Taught


@app.command(cls=ByCalibration)
@guarded
def read(
    context: typer.Context,
    stills: Annotated[
        list[Path], typer.Argument(metavar="STILL", help="Stills to read, JPEG or PNG.")
    ],
    calibration: CALIBRATIONS_OR_SERVER = None,
    ball_set: BALL_SET = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    at_table: AT_TABLE = None,
    finder: FINDER = FinderKind.shipped,
    weights: WEIGHTS = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Find and name every ball in stills, in millimetres, each with its error.

    A still that cannot be read is reported and the others go on; the exit code is then 1. With
    --server a running service reads them with what it knows, and keeps them as they arrive.

    Two cameras over one table: `restmark read --calibration a.json A.jpg --calibration b.json
    B.jpg` prints one layout of what both see.
    """
    from calibration.kept.calibration import Calibration
    from vision.read import Reader

    if server is not None:
        refuse_beside_server(
            calibration=calibration,
            set=ball_set,
            finder=finder is not FinderKind.shipped,
            weights=weights,
        )
        read_there(Service(server, token, trust, at_table), stills, units=units, as_json=as_json)
        return
    if not calibration:
        raise typer.BadParameter("give --calibration, or --server to ask a running service")
    taught = set_from(ball_set)
    load = finder_from(finder, weights)
    if len(calibration) > 1:
        own = None if load is None else load()
        _read_together(groups_of(context, calibration), own, taught, units, as_json=as_json)
        return
    made = Calibration.read(calibration[0])
    reader = None if load is None else Reader(made, finder=load(), taught=taught)
    failed = False
    for path in tracked(stills, "reading stills"):
        try:
            layout = (
                read_one(path, made, taught)
                if reader is None
                else reader.read_still(read_bytes(path), name=str(path), afresh=True)
            )
        except RestmarkError as refused:
            failed = True
            complain(refused.detail)
            if as_json:
                print_json({"still": str(path), "error": error_object(refused)})
            continue
        if as_json:
            print_json(layout.to_dict())
        else:
            print_layout(layout, units)
    if failed:
        raise typer.Exit(REFUSED)


def _read_together(
    groups: Mapping[str, tuple[Path, tuple[str, ...]]],
    finder: Finder | None,
    taught: Taught | None,
    units: Units,
    *,
    as_json: bool,
) -> None:
    """Moments by several cameras, each to one layout; a camera left out is a refusal too."""
    from calibration.kept.calibration import Calibration
    from vision.read_together import JointReader

    made = {name: Calibration.read(path) for name, (path, _) in groups.items()}
    reader = JointReader(made, finder=finder, taught=taught)
    moments = list(zip(*(paths for _, paths in groups.values()), strict=True))
    failed = False
    for paths in tracked(moments, "reading stills"):
        by = dict(zip(groups, paths, strict=True))
        called = " + ".join(paths)
        try:
            data, away = _files(by)
            layout = reader.read(data, away=away, names=by, afresh=True)
        except RestmarkError as refused:
            failed = True
            complain(refused.detail)
            if as_json:
                print_json({"still": called, "error": error_object(refused)})
            continue
        for notice in layout.notices:
            if notice.code == "camera-away":
                failed = True
                complain(notice.text)
        if as_json:
            print_json(layout.to_dict())
        else:
            print_layout(layout, units)
    if failed:
        raise typer.Exit(REFUSED)


def _files(by: Mapping[str, str]) -> tuple[dict[str, bytes], dict[str, RestmarkError]]:
    """Each camera's still, or why there is none."""
    data: dict[str, bytes] = {}
    away: dict[str, RestmarkError] = {}
    for name, path in by.items():
        try:
            data[name] = read_bytes(Path(path))
        except RestmarkError as refused:
            away[name] = refused
    return data, away


def read_one(path: Path, made: Calibration, taught: Taught | None = None) -> Layout:
    """The layout in one still file."""
    from vision.read import read_still

    return read_still(read_bytes(path), made, name=str(path), taught=taught)
