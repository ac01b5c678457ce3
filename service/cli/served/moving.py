"""``export`` and ``import``: all that a store keeps as one archive, and back."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from ..app import app, guarded
from ..console import print_json, say
from ..given.inputs import InputError
from ..given.options import JSON, STORE
from .asked import SERVER, TOKEN, TRUST, Service, client

DATA = Annotated[
    Path, typer.Option("--data", help="Folder of the store, as `serve` and `session` fill it.")
]
SINCE = Annotated[
    str | None,
    typer.Option("--since", metavar="DATE", help="Only stills that came from then on."),
]
OF_TABLE = Annotated[
    int | None, typer.Option("--table", min=1, help="Only stills of the table of that number.")
]
_DATA = Path("restmark-data")


@app.command(name="export")
@guarded
def export_(
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File for the archive, a zip; an older one is replaced."),
    ] = None,
    parquet: Annotated[
        Path | None,
        typer.Option(
            "--parquet",
            metavar="DIR",
            help="New folder for attempts, readings and balls as Parquet files, for analysis "
            "(extra `scale`).",
        ),
    ] = None,
    data: DATA = _DATA,
    store: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
) -> None:
    """Write everything that a store keeps, stills too, into one archive.

    It can be taken in by another store, an SQLite or a PostgreSQL one: this is the way to move,
    and a copy to put away. A service may go on meanwhile: the archive is of one moment. With
    --parquet the figures as tables for other programs, no way back; both may be asked for.
    """
    if out is None and parquet is None:
        raise typer.BadParameter("--out or --parquet says where to")
    if parquet is not None:
        _export_parquet(parquet, data, store, server)
    if out is None:
        return
    if not out.parent.is_dir():
        raise InputError(
            f"{out}: its folder is not there; allowed: a file in a folder that is. Correct --out."
        )
    if server is not None:
        with client(Service(server, token, trust)) as service:
            service.export(out)
    else:
        from service.moving import export_archive
        from service.store import Store

        with contextlib.closing(Store(data, store, must_exist=True)) as held:
            _write(out, export_archive(held))
    say(f"{out}: {out.stat().st_size / 1e6:.1f} MB")


@app.command(name="import")
@guarded
def import_(
    archive: Annotated[Path, typer.Argument(metavar="ARCHIVE", help="Zip of `restmark export`.")],
    data: DATA = _DATA,
    store: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    as_json: JSON = False,
) -> None:
    """Take everything of an archive into a store, a new one or one that is in use.

    What comes in gets new numbers and is never live; what the store has already stays as it is, so
    that the same archive twice changes nothing. A damaged archive is refused as a whole.
    """
    if not archive.is_file():
        raise InputError(
            f"{archive}: no such file; allowed: an archive of `restmark export`. Check the name.",
            code="missing-file",
        )
    if server is not None:
        with client(Service(server, token, trust)) as service:
            moved = service.take_archive(archive)
        added, there = moved.added, moved.there
    else:
        from service.moving import take_in
        from service.store import Store

        with contextlib.closing(Store(data, store)) as held:
            taken = take_in(held, archive)
        added, there = taken.added, taken.there
    if as_json:
        print_json({"added": dict(added), "there": dict(there)})
        return
    new = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in added.items() if count)
    say(f"added: {new or 'nothing'}; there before: {sum(there.values())} rows")


def _export_parquet(folder: Path, data: Path, store: str | None, server: str | None) -> None:
    if server is not None:
        raise InputError(
            "--parquet: got --server too; allowed: a store, by --data or --store. Give one of "
            "those where the store is."
        )
    from service.parquet import write_parquet
    from service.store import Store

    with contextlib.closing(Store(data, store, must_exist=True)) as held:
        done = write_parquet(held, folder)
    say(f"{folder}: {done.attempts} attempts, {done.readings} readings, {done.balls} balls")


def _write(path: Path, parts: Iterable[bytes]) -> None:
    """A file that is whole or not there."""
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(parts)
        os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(part)
        raise
