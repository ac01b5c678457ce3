"""``score``: two stills or layouts to a verdict; and the report of what was scored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.words.lengths import Lengths, Units

from .app import app, guarded
from .console import note, out, print_json, say
from .given.inputs import Entry, entry_of
from .given.layouts import Ground, check_surface
from .given.options import (
    BALL_SET,
    CALIBRATION_FOR_STILLS,
    JSON,
    PLAYER,
    REPORT,
    UNITS,
    player_from,
)

if TYPE_CHECKING:
    from calibration.table import Table
    from service.practice import SessionResult


@app.command()
@guarded
def score(
    before: Annotated[
        Path, typer.Argument(metavar="BEFORE", help="Still or layout before the shot.")
    ],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="Still or layout after the shot.")],
    intent: Annotated[
        Path, typer.Option("--intent", help="What was meant, intent.json: pot and leave, or zone.")
    ],
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    ball_set: BALL_SET = None,
    report: REPORT = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Compare where the cue ball stopped with where it was meant to stop."""
    from service.position import Intent, score_shot
    from service.practice import Attempt, SessionResult, summarise
    from service.report.tables import verdict_text

    meant = Intent.read(intent)
    ground = Ground.open(calibration, ball_set)
    entries = [entry_of(before), entry_of(after)]
    was = ground.layout(entries[0])
    table = ground.table_for(was)
    now = ground.layout(entries[1], previous=was)
    check_surface(now, table)
    verdict = score_shot(was, now, meant, table, player=player_from(player))
    if report is not None:
        attempt = Attempt(
            attempt=1,
            before=before.name,
            after=after.name,
            verdict=verdict,
            before_layout=replace(was, still=before.name),
            after_layout=replace(now, still=after.name),
        )
        result = SessionResult(attempts=(attempt,), left_out=(), summary=summarise([verdict]))
        report_on(
            report, result, ground, entries, table, units, of=f"{before.name} and {after.name}"
        )
    if as_json:
        print_json(verdict.to_dict())
        return
    out().print(verdict_text(now, verdict, Lengths.on(table, units)))
    for warning in verdict.warnings:
        say(f"note: {warning}")


def report_on(
    where: Path,
    result: SessionResult,
    ground: Ground,
    entries: Sequence[Entry],
    table: Table,
    units: Units,
    *,
    of: str,
) -> None:
    """Write the report of what was scored and say where it lies."""
    from service.report.model import Source
    from service.report.written import lead_words, write_report

    source = Source(
        heading=f"Position play: {of}",
        lead=lead_words(len(result.attempts), table),
        provenance=f"Made by Restmark from {of}.",
        table=table,
        calibration=ground.calibration,
        units=units,
        stills={Path(entry.name).name: entry.still for entry in entries if entry.still is not None},
    )
    note(f"report written to {write_report(where, result, source)}")
