"""``progress``: stored sessions over weeks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import RestmarkError

from .app import app, guarded
from .console import out, print_json, say
from .options import JSON


@app.command()
@guarded
def progress(
    data: Annotated[
        Path, typer.Option("--data", help="Folder of the store, as `serve` and `session` fill it.")
    ] = Path("restmark-data"),
    same_shots: Annotated[
        bool, typer.Option("--same-shots", help="Count only shots played in every session.")
    ] = False,
    as_json: JSON = False,
) -> None:
    """Show stored sessions over weeks: rates, bias, speed against line, and what is missing.

    Nothing is called a trend before it can be claimed; until then the command says how many
    sessions are missing.
    """
    from service.desk.sums import progress_of
    from service.report.kind_words import kind_rows
    from service.report.progress_words import progress_lines
    from service.report.tables import kinds_grid, sessions_grid
    from service.store import DATABASE_NAME, Store

    if not (data / DATABASE_NAME).is_file():
        raise RestmarkError(
            f"{data}: holds no store; allowed: a folder that `restmark serve --data` or `restmark "
            "session --data` filled. Give that one.",
            code="no-store",
        )
    store = Store(data)
    try:
        with store.reading() as reader:
            found = progress_of(reader.scores(), same_shots=same_shots)
    finally:
        store.close()
    lines = progress_lines(found)
    if as_json:
        print_json({"progress": found.to_dict(), "words": lines})
        return
    if found.sessions:
        out().print(sessions_grid(found.sessions))
    if kind_rows(found.by_kind):
        out().print(kinds_grid(found.by_kind))
    for line in lines:
        say(line)
