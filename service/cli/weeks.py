"""``progress``: stored sessions over weeks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.words.lengths import Lengths, Units

from .app import app, guarded
from .console import out, print_json, say
from .given.options import JSON, STORE, UNITS
from .served.asked import (
    AT_TABLE,
    SERVER,
    TOKEN,
    TRUST,
    Service,
    progress_there,
    refuse_beside_server,
)


@app.command()
@guarded
def progress(
    data: Annotated[
        Path, typer.Option("--data", help="Folder of the store, as `serve` and `session` fill it.")
    ] = Path("restmark-data"),
    store: STORE = None,
    same_shots: Annotated[
        bool, typer.Option("--same-shots", help="Count only shots played in every session.")
    ] = False,
    player: Annotated[
        int | None,
        typer.Option("--player", help="Number of the player; without it, of who is at table 1."),
    ] = None,
    units: UNITS = Units.MM,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    at_table: AT_TABLE = None,
    as_json: JSON = False,
) -> None:
    """Show stored sessions over weeks: rates, bias, speed against line, and what is missing.

    Nothing is called a trend before it can be claimed; until then the command says how many
    sessions are missing.
    """
    if server is not None:
        refuse_beside_server(player=player, store=store)
        progress_there(
            Service(server, token, trust, at_table), same_shots=same_shots, as_json=as_json
        )
        return
    from service.desk.stored import calibration_of
    from service.desk.sums import progress_of
    from service.report.tables import kinds_grid, sessions_grid
    from service.store import Store
    from service.words.kinds import kind_rows
    from service.words.progress import progress_lines

    opened = Store(data, store, must_exist=True)
    try:
        with opened.reading() as reader:
            whose = reader.player_at() if player is None else reader.player(player)
            found = progress_of(reader, same_shots=same_shots, player_id=whose.id)
            record = reader.calibration()
            made = None if record is None else calibration_of(record)
    finally:
        opened.close()
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
