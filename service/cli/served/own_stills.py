"""``export-stills``: clear stills of a store as a folder to train on and to compare with."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Annotated

import typer

from ..app import app, guarded
from ..console import print_json, say, tracked
from ..given.inputs import moment
from ..given.options import JSON, STORE
from .moving import DATA, OF_TABLE, SINCE


@app.command(name="export-stills")
@guarded
def export_stills_(
    out: Annotated[
        Path, typer.Option("--out", help="New folder for the stills and their truth.json.")
    ],
    data: DATA = Path("restmark-data"),
    store: STORE = None,
    since: SINCE = None,
    until: Annotated[
        str | None,
        typer.Option("--until", metavar="DATE", help="Only stills that came before then."),
    ] = None,
    table: OF_TABLE = None,
    only_corrected: Annotated[
        bool,
        typer.Option("--only-corrected", help="Only stills whose names somebody spoke of."),
    ] = False,
    as_json: JSON = False,
) -> None:
    """Write clear stills of a store as a folder to train on, or to compare readings with.

    The folder is of the kind that `bench --stills` reads. Nothing in it is measured: places are
    the service's own readings, and the file says of every name whether a person confirmed or
    corrected it. Stills with a name in doubt, or with something over the bed, are left out. The
    pictures may show people: look them through before you hand them on.
    """
    from service.moving import Wanted, export_stills
    from service.store import Store

    wanted = Wanted(
        table_id=table,
        since=moment("--since", since),
        until=moment("--until", until),
        only_corrected=only_corrected,
    )
    with contextlib.closing(Store(data, store, must_exist=True)) as held:
        done = export_stills(held, out, wanted, track=tracked)
    if as_json:
        print_json(done.to_dict())
        return
    named = done.named
    say(
        f"{out}: {done.stills} stills with {sum(named.values())} balls; names: "
        f"{named['corrected']} corrected, {named['confirmed']} confirmed, {named['read']} as read"
    )
    for why, count in done.left_out.most_common():
        say(f"left out: {count}, {why}")
    say("places are this service's own readings, no measurement")
