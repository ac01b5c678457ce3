"""``score`` and ``session``: stills or layouts to verdicts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import RestmarkError
from vision.layout import Layout

from .app import REFUSED, app, guarded
from .console import complain, note, out, print_json, say, tracked
from .inputs import Entry, entry_of, folder_entries
from .keeping import check_keepable, keep_session, played_time
from .layouts import Ground, check_surface
from .options import BALL_SET, CALIBRATION_FOR_STILLS, JSON, PLAYER, player_from

if TYPE_CHECKING:
    from calibration.table import Table
    from service.practice import Plan
    from service.practice.pairing import Reading

PLAN_NAME = "plan.json"


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
    as_json: JSON = False,
) -> None:
    """Compare where the cue ball stopped with where it was meant to stop."""
    from service.position import Intent, score_shot
    from service.report.tables import verdict_grid

    meant = Intent.read(intent)
    ground = Ground.open(calibration, ball_set)
    was = ground.layout(entry_of(before))
    table = ground.table_for(was)
    now = ground.layout(entry_of(after), previous=was)
    check_surface(now, table)
    verdict = score_shot(was, now, meant, table, player=player_from(player))
    if as_json:
        print_json(verdict.to_dict())
        return
    out().print(verdict_grid(table, was, now, verdict))
    for warning in verdict.warnings:
        say(f"note: {warning}")


@app.command()
@guarded
def session(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER",
            help="Folder of a session's stills or layouts: named ...-before and ...-after, or a "
            "sequence in the order of their names.",
        ),
    ],
    calibration: CALIBRATION_FOR_STILLS = None,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", help="Intents in order, plan.json; default: the folder's own."),
    ] = None,
    player: PLAYER = None,
    ball_set: BALL_SET = None,
    data: Annotated[
        Path | None,
        typer.Option("--data", help="Folder of a store that keeps the session; made if missing."),
    ] = None,
    played: Annotated[
        str | None,
        typer.Option(
            "--played", help="Day, or day and time, of the session; default: its files' own."
        ),
    ] = None,
    as_json: JSON = False,
) -> None:
    """Score every attempt of a session and sum it up, rates with their intervals.

    In a sequence every shot is found by itself, and what else happened between stills is said.
    An attempt that cannot be scored stays in its place with the reason; the exit code is then 1.
    """
    from service.practice import score_session
    from service.report.kind_words import kind_lines, kind_rows
    from service.report.summary_words import summary_lines
    from service.report.tables import attempts_grid, kinds_grid
    from service.report.way_words import way_line

    plan_path = plan or _own_plan(folder)
    meant = _read_plan(plan_path)
    ground = Ground.open(calibration, ball_set)
    entries = folder_entries(folder, leave_out=plan_path)
    played_at = None
    if data is not None:
        check_keepable(ground, entries)
        played_at = played_time(played, folder)
    readings, table = read_session(entries, ground)
    result = score_session(readings, meant, table, player=player_from(player))
    if as_json:
        for item in result.lines():
            print_json(item)
    else:
        out().print(attempts_grid(result.attempts))
        for step in result.transitions:
            doubt = " (in doubt)" if step.outcome.doubtful else ""
            say(f"{step.before} to {step.after}: {step.outcome.detail}{doubt}")
        if kind_rows(result.summary.by_kind):
            out().print(kinds_grid(result.summary.by_kind))
        for line in summary_lines(result.summary) + kind_lines(result.summary.by_kind):
            say(line)
        if result.way_report is not None:
            say(way_line(result.way_report))
    if data is not None and played_at is not None:
        note(keep_session(data, ground, entries, readings, result, played_at))
    for left in result.left_out:
        note(left.reason)
    refused = [attempt for attempt in result.attempts if attempt.refused]
    for attempt in refused:
        complain(f"attempt {attempt.attempt}: {attempt.refused_why}")
    if refused:
        raise typer.Exit(REFUSED)


def _own_plan(folder: Path) -> Path | None:
    """The plan that lies in the folder itself."""
    own = folder / PLAN_NAME
    return own if own.is_file() else None


def _read_plan(path: Path | None) -> Plan:
    from service.practice import Plan

    if path is None:
        note("no --plan was given and the folder holds no plan.json: no stop can be judged")
        return Plan()
    return Plan.read(path)


def read_session(entries: list[Entry], ground: Ground) -> tuple[list[tuple[str, Reading]], Table]:
    """Every entry's layout or refusal, and the one table they lie on."""
    readings: list[tuple[str, Reading]] = []
    table: Table | None = None
    previous: Layout | None = None
    for entry in tracked(entries, "reading stills"):
        try:
            layout = ground.layout(entry, previous=previous)
            if table is None:
                table = ground.table_for(layout)
            check_surface(layout, table)
        except RestmarkError as refused:
            if refused.code == "no-calibration":
                raise
            readings.append((entry.name, refused))
            continue
        previous = None if layout.obstructed else layout
        readings.append((entry.name, layout))
    if table is None:
        _, first = readings[0]
        assert isinstance(first, RestmarkError)
        raise first
    return readings, table
