"""``backup`` and ``restore``: the whole store in a folder to put away, and back."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Annotated

import typer

from ..app import app, guarded
from ..console import note, print_json, say
from ..given.options import JSON, STORE
from .moving import DATA

_DATA = Path("restmark-data")


@app.command()
@guarded
def backup(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder for the copy; made if missing.")
    ],
    data: DATA = _DATA,
    store: STORE = None,
    as_json: JSON = False,
) -> None:
    """Copy everything that a store keeps, pictures too, into a folder; a service may go on.

    Given again, the same folder is brought up to date: pictures that it has are not written again.
    `restmark restore` puts it back.
    """
    from service.moving import back_up
    from service.store import Store

    with contextlib.closing(Store(data, store, must_exist=True)) as held:
        made = back_up(held, folder)
    if as_json:
        print_json(made.to_dict())
        return
    stills = f" and {made.stills} pictures" if made.stills else ""
    say(f"{folder}: {made.member} with {made.size_bytes / 1e6:.1f} MB{stills}")
    if made.missing_stills:
        note(f"{len(made.missing_stills)} pictures are gone or damaged and could not be copied")


@app.command()
@guarded
def restore(
    copy: Annotated[
        Path | None,
        typer.Argument(
            metavar="[COPY]",
            help="Folder of `restmark backup`, or a database's file; default: the newest whole one "
            "of the daily copies in the data folder.",
        ),
    ] = None,
    data: DATA = _DATA,
    store: STORE = None,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace", help="Set a database aside that is there; it is moved, never erased."
        ),
    ] = False,
    as_json: JSON = False,
) -> None:
    """Make a data folder the store that was copied. No service may run on it.

    Devices must be paired again: a copy may know one that was shut out since.
    """
    from service.moving import restore as put_back
    from service.store.copies.restoring import SINCE_NAME
    from service.words.plain import counted

    done = put_back(copy, data, url=store, replace=replace)
    if as_json:
        aside = None if done.set_aside is None else str(done.set_aside)
        print_json(
            {
                "source": str(done.source),
                "stills": done.stills,
                "missing": done.missing,
                "since": done.since,
                "set_aside": aside,
                "unpaired": done.unpaired,
            }
        )
        return
    say(f"{data}: as {done.source} has it, with {done.stills} stills")
    if done.set_aside is not None:
        say(f"what was there before lies in {done.set_aside}")
    if done.unpaired:
        say(
            f"{counted(done.unpaired, 'device')} of the copy must be paired again: it may know one "
            "that was shut out since"
        )
    if done.missing:
        say(f"{done.missing} pictures are missing; what was read in them is there")
    if done.since:
        say(
            f"{done.since} pictures came after that copy: {data / SINCE_NAME} lists them in their "
            "order; post them again"
        )
