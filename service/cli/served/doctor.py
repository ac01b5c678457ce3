"""``doctor``: what is wrong, and what to do."""

from __future__ import annotations

from pathlib import Path

import typer

from ..app import REFUSED, app, guarded
from ..console import print_json, say
from ..given.options import JSON, STORE
from .moving import DATA

_DATA = Path("restmark-data")


@app.command()
@guarded
def doctor(data: DATA = _DATA, store: STORE = None, as_json: JSON = False) -> None:
    """Look at versions, camera, calibration, disk and database; say what is wrong and what to do.

    Nothing is changed, and a service may run meanwhile. Exit code 1 where something is wrong.
    """
    from service.doctor import OK, WRONG, look

    is_wrong = False
    for finding in look(data, store):
        is_wrong = is_wrong or finding.state == WRONG
        if as_json:
            print_json(finding.to_dict())
            continue
        mark = "" if finding.state == OK else f"{finding.state.upper()}: "
        say(f"{finding.what}: {mark}{finding.found}")
        if finding.to_do:
            say(f"  to do: {finding.to_do}")
    if is_wrong:
        raise typer.Exit(REFUSED)
