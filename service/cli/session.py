"""``session``: a folder, a video or a camera to scored attempts and what they add up to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import CalibrationError, RestmarkError
from service.words.lengths import Lengths, Units
from vision.layout import Layout

from .app import REFUSED, app, guarded
from .console import complain, note, out, print_json, say, tracked
from .given.cameras import ByCalibration, Group, groups_of, joint_folders, watched_sources
from .given.inputs import Entry, InputError, folder_entries, is_layout_file
from .given.keeping import check_keepable, keep_session, played_time
from .given.layouts import Ground, check_surface
from .given.options import (
    BALL_SET,
    CALIBRATIONS_FOR_STILLS,
    JSON,
    PLAYER,
    REPORT,
    STORE,
    UNITS,
    player_from,
)
from .scoring import report_on
from .served.asked import (
    AT_TABLE,
    SERVER,
    TOKEN,
    TRUST,
    Service,
    refuse_beside_server,
    session_there,
)

if TYPE_CHECKING:
    from calibration.table import Table
    from service.position.meant.player import Player
    from service.practice import Plan, SessionResult
    from service.practice.attempt import Attempt, Transition
    from service.practice.pairing import Reading
    from service.practice.watched import WatchedSession

PLAN_NAME = "plan.json"


@app.command(cls=ByCalibration)
@guarded
def session(
    context: typer.Context,
    sources: Annotated[
        list[str],
        typer.Argument(
            metavar="FOLDER|VIDEO|CAMERA",
            help="Folder of a session's stills or layouts: named ...-before and ...-after, or a "
            "sequence in the order of their names. Or a video file, a camera's number (0 is the "
            "first) or a network camera's address: watched until it ends, or Ctrl-C.",
        ),
    ],
    calibration: CALIBRATIONS_FOR_STILLS = None,
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
    store: STORE = None,
    played: Annotated[
        str | None,
        typer.Option(
            "--played", help="Day, or day and time, of the session; default: its files' own."
        ),
    ] = None,
    growing: Annotated[
        bool,
        typer.Option(
            "--growing",
            help="Stills go on arriving in the folder: each is scored as it comes, until Ctrl-C.",
        ),
    ] = False,
    report: REPORT = None,
    units: UNITS = Units.MM,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    at_table: AT_TABLE = None,
    as_json: JSON = False,
) -> None:
    """Score every attempt of a session and sum it up, rates with their intervals.

    In a sequence every shot is found by itself, and what else happened between stills is said.
    An attempt that cannot be scored stays in its place with the reason; the exit code is then 1.
    With --server the folder's stills go to a running service, which scores and keeps them.
    Several cameras over one table: each --calibration is followed by its camera's folder, as many
    stills in each; those in the same place of the order are one moment. Or by its camera or video:
    what all see at rest is one moment; videos are taken to begin together.
    """
    from service.practice import score_session

    together = calibration is not None and len(calibration) > 1
    source = _one_source(sources, together=together)
    folder = Path(source)
    if server is not None:
        refuse_beside_server(
            calibration=calibration, player=player, set=ball_set, data=data, played=played,
            report=report,
        )  # fmt: skip
        meant = _read_plan(plan or _own_plan(folder), " and the folder holds no plan.json")
        session_there(Service(server, token, trust, at_table), folder, meant, as_json=as_json)
        return
    if growing and not folder.is_dir():
        raise InputError(
            f"{source}: is no folder, and --growing was given; allowed: a folder in which stills "
            "arrive. Make it, or leave --growing out."
        )
    watched = growing or any(_is_watched(each) for each in sources)
    has_own = growing or not watched
    plan_path = _own_plan(folder) if plan is None and has_own else plan
    meant = _read_plan(plan_path, " and the folder holds no plan.json" if has_own else "")
    who = player_from(player)
    groups = {}
    if together and calibration is not None:
        groups = groups_of(context, calibration, one="source" if watched else "folder")
    own = None if not calibration or together else calibration[0]
    ground, joint = _ground(groups, own, ball_set, watched=watched)
    played_at = None
    if watched:
        watching = _Watching(plan=meant, player=who, as_json=as_json, keep=data is not None)
        shown, table = watching.several(groups, ground) if groups else watching.one(source, ground)
        played_at = _played(source, played)
        entries = [Entry(name=name, still=still) for name, still in shown.stills.items()]
        readings = shown.readings
        result = score_session(readings, meant, table, player=who, seen=shown.seen)
    else:
        entries = joint or folder_entries(folder, leave_out=plan_path)
        if data is not None:
            check_keepable(ground, entries)
            played_at = played_time(played, folder)
        readings, table = read_session(entries, ground)
        result = score_session(readings, meant, table, player=who)
    _print_session(result, Lengths.on(table, units), steps_too=not watched, as_json=as_json)
    if report is not None:
        report_on(report, result, ground, entries, table, units, of=folder.resolve().name)
    if store is not None and data is None:
        note("Nothing was kept: give --data too, the folder for the stills' files")
    if data is not None and played_at is not None:
        given = None if player is None else who
        note(
            keep_session(
                data, ground, entries, readings, result, played_at, store_url=store, player=given
            )
        )
    for left in result.left_out:
        note(left.reason)
    refused = [attempt for attempt in result.attempts if attempt.refused]
    for attempt in refused:
        complain(f"attempt {attempt.attempt}: {attempt.refused_why}")
    if refused:
        raise typer.Exit(REFUSED)


def _one_source(sources: list[str], *, together: bool) -> str:
    """The folder, video or camera; of several cameras the first one's."""
    if len(sources) > 1 and not together:
        raise InputError(
            f"{sources[1]}: got {len(sources)} sources; allowed: one, or one behind each "
            "--calibration where several cameras look at the table. Give one."
        )
    return sources[0]


def _ground(
    groups: Mapping[str, Group], own: Path | None, ball_set: Path | None, *, watched: bool
) -> tuple[Ground, list[Entry] | None]:
    """What stills are read on, and the moments of several cameras' folders."""
    if not groups:
        return Ground.open(own, ball_set), None
    if not watched:
        return joint_folders(groups, ball_set)
    first, _ = next(iter(groups.values()))
    return Ground.open(first, ball_set), None


def _is_watched(source: str) -> bool:
    from service.practice.watched import is_watched

    folder = Path(source)
    return not folder.is_dir() and not is_layout_file(folder) and is_watched(source)


def _played(source: str, given: str | None) -> datetime:
    """When a watched session was played."""
    from service.practice.watched import begun

    return begun(source) if given is None else played_time(given, Path(source))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Watching:
    """Watches videos, cameras or folders that grow, and prints, at each rest, what led to it."""

    plan: Plan
    player: Player | None
    as_json: bool
    keep: bool

    def one(self, source: str, ground: Ground) -> tuple[WatchedSession, Table]:
        from service.practice.watched import watch_session

        made = ground.calibration
        if made is None:
            raise CalibrationError(
                f"{source}: is watched, and no --calibration was given; allowed: a camera or video "
                "with the calibration of its table. Give --calibration.",
                code="no-calibration",
            )
        shown = watch_session(
            source, made, self.plan, taught=ground.taught, player=self.player, keep=self.keep,
            tell=note, on_step=self._print,
        )  # fmt: skip
        return shown, made.table

    def several(self, groups: Mapping[str, Group], ground: Ground) -> tuple[WatchedSession, Table]:
        """By several cameras; ``ground`` is the first one's."""
        from service.practice.watched import watch_together

        named, made = watched_sources(groups)
        shown = watch_together(
            named, made, self.plan, taught=ground.taught, player=self.player, keep=self.keep,
            tell=note, on_step=self._print,
        )  # fmt: skip
        return shown, next(iter(made.values())).table

    def _print(self, step: Attempt | Transition) -> None:
        if self.as_json:
            print_json(step.to_dict())
        else:
            say(_step_words(step))


def _step_words(step: Attempt | Transition) -> str:
    from service.practice.attempt import Attempt

    if not isinstance(step, Attempt):
        return f"{step.after}: {step.outcome.detail}"
    if step.verdict is None:
        return f"{step.after}: attempt {step.attempt} cannot be scored, {step.refused_why}"
    verdict = step.verdict
    words = [verdict.verdict or "not judged"]
    if verdict.scratch:
        words.append("scratch")
    if verdict.cue_stop_mm is not None:
        x, y = verdict.cue_stop_mm
        words.append(f"cue ball at x {x:.0f}, y {y:.0f} mm")
    if verdict.potted:
        words.append(f"potted {', '.join(verdict.potted)}")
    return f"{step.after}: attempt {step.attempt}: {'; '.join(words)}"


def _print_session(
    result: SessionResult, lengths: Lengths, *, steps_too: bool, as_json: bool
) -> None:
    """All of a session; what was watched was printed step by step already."""
    from service.report.tables import attempts_grid, kinds_grid
    from service.words.kinds import kind_lines, kind_rows
    from service.words.summary import summary_lines, way_line

    if as_json:
        for item in result.lines() if steps_too else [{"summary": result.summary_dict()}]:
            print_json(item)
        return
    out().print(attempts_grid(result.attempts, lengths))
    for step in result.transitions if steps_too else ():
        doubt = " (in doubt)" if step.outcome.doubtful else ""
        say(f"{step.before} to {step.after}: {step.outcome.detail}{doubt}")
    if kind_rows(result.summary.by_kind):
        out().print(kinds_grid(result.summary.by_kind, lengths))
    for line in summary_lines(result.summary, lengths) + kind_lines(result.summary.by_kind):
        say(line)
    if result.way_report is not None:
        say(way_line(result.way_report, lengths))


def _own_plan(folder: Path) -> Path | None:
    """The plan that lies in the folder itself."""
    own = folder / PLAN_NAME
    return own if own.is_file() else None


def _read_plan(path: Path | None, looked: str) -> Plan:
    from service.practice import Plan

    if path is None:
        note(f"no --plan was given{looked}: no stop can be judged")
        return Plan()
    return Plan.read(path)


def read_session(entries: list[Entry], ground: Ground) -> tuple[list[tuple[str, Reading]], Table]:
    """Every entry's layout or refusal, and the one table they lie on.

    Raises:
        RestmarkError: code ``no-calibration``, or no entry has a layout: the first refusal.
    """
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
