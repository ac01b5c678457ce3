"""``progress``: stored sessions over weeks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import RestmarkError
from service.words.lengths import Lengths, Units

from .app import app, guarded
from .console import out, print_json, say
from .given.options import JSON, UNITS


@app.command()
@guarded
def progress(
    data: Annotated[
        Path, typer.Option("--data", help="Folder of the store, as `serve` and `session` fill it.")
    ] = Path("restmark-data"),
    same_shots: Annotated[
        bool, typer.Option("--same-shots", help="Count only shots played in every session.")
    ] = False,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Show stored sessions over weeks: rates, bias, speed against line, and what is missing.

    Nothing is called a trend before it can be claimed; until then the command says how many
    sessions are missing.
    """
    from service.desk.stored import calibration_of
    from service.desk.sums import progress_of
    from service.report.tables import kinds_grid, sessions_grid
    from service.store import DATABASE_NAME, Store
    from service.words.kinds import kind_rows
    from service.words.progress import progress_lines

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
            record = reader.calibration()
            made = None if record is None else calibration_of(record)
    finally:
        store.close()
    if as_json:
        print_json({"progress": found.to_dict(), "words": progress_lines(found)})
        return
    lengths = Lengths(units=units) if made is None else Lengths.on(made.table, units)
    if found.sessions:
        out().print(sessions_grid(found.sessions, lengths))
    if kind_rows(found.by_kind):
        out().print(kinds_grid(found.by_kind, lengths))
    for line in progress_lines(found, lengths):
        say(line)
