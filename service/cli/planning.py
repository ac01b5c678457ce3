"""``zone``, ``route``, ``chances`` and ``player``: before the shot, and what a player does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from calibration.errors import FileFormatError
from calibration.table import POCKET_NAMES
from service.words.lengths import Lengths, Units

from .app import app, guarded
from .console import note, out, print_json, say
from .given.inputs import entry_of, folder_entries
from .given.layouts import Ground, check_surface
from .given.options import CALIBRATION_FOR_STILLS, JSON, PLAYER, UNITS, player_from

if TYPE_CHECKING:
    from service.position import Player
    from service.position.plan.chance_map import ChanceMap
    from service.position.plan.record import Fitted
    from service.position.plan.route import RouteReport

LAYOUT = Annotated[Path, typer.Argument(metavar="LAYOUT", help="Still or layout before the shot.")]


@app.command()
@guarded
def zone(
    before: LAYOUT,
    intent: Annotated[
        Path, typer.Option("--intent", help="What is meant, intent.json: pot and leave, or zone.")
    ],
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    drawing: Annotated[
        Path | None, typer.Option("--out", help="Draw the zone on the table as an SVG file.")
    ] = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Show the landing zone before the shot: how large, where best, or which limit empties it."""
    from calibration.jsonfile import write_text
    from service.drawing import top_view_svg
    from service.position import Intent, landing_zone
    from service.position.verdict.arrival import way_mm
    from service.report.tables import facts_grid
    from service.words.intents import intent_words
    from service.words.planning import zone_facts, zone_json

    ground = Ground.open(calibration)
    there = ground.layout(entry_of(before))
    table = ground.table_for(there)
    meant = Intent.read(intent).named_on(there)
    meant.check_on(there, table)
    found = landing_zone(there, meant, table, player=player_from(player))
    line = None if meant.route_mm is None else way_mm(*meant.route_mm[-2:])
    if drawing is not None:
        drawn = top_view_svg(table, there, zone=found, arrival_line_mm=line, units=units)
        write_text(drawing, drawn)
    if as_json:
        print_json(zone_json(found, meant, line))
        return
    lengths = Lengths.on(table, units)
    say(intent_words(meant, lengths))
    out().print(facts_grid(zone_facts(found, line, lengths)))


@app.command()
@guarded
def route(
    layout: LAYOUT,
    intent: Annotated[
        list[Path],
        typer.Option(
            "--intent",
            help="An intent with route_mm; give it again for each route to lay side by side.",
        ),
    ],
    drawing: Annotated[
        Path | None, typer.Option("--out", help="Draw the routes on the table as an SVG file.")
    ] = None,
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Lay planned routes of the cue ball side by side: gaps, hooked stretches, what they forgive.

    How spin and cushions turn the cue ball is not predicted: the route is taken as drawn.
    """
    from calibration.jsonfile import write_text
    from service.drawing.routes import routes_svg
    from service.position import Intent
    from service.position.plan.route import most_forgiving, report_route

    meant = [Intent.read(path) for path in intent]
    ground = Ground.open(calibration)
    there = ground.layout(entry_of(layout))
    table, who = ground.table_for(there), player_from(player)
    reports = [report_route(there, each, table, player=who) for each in meant]
    best = most_forgiving(reports)
    names = [str(path) for path in intent]
    if drawing is not None:
        drawn = [(path.stem, report) for path, report in zip(intent, reports, strict=True)]
        write_text(drawing, routes_svg(table, there, drawn, units=units))
    if as_json:
        for i, (name, report) in enumerate(zip(names, reports, strict=True)):
            print_json({"intent": name, "forgives_most": i == best, **report.to_dict()})
        return
    out().print(_routes_grid(names, reports, best, Lengths.on(table, units)))
    for name, report in zip(names, reports, strict=True):
        for warning in report.warnings:
            say(f"note: {name}: {warning}")


@app.command()
@guarded
def chances(
    layout: LAYOUT,
    ball: Annotated[str, typer.Option("--ball", help="The ball to be potted next, 1 … 15.")],
    pocket: Annotated[
        str | None,
        typer.Option("--pocket", help="Only this pocket, such as foot-left; default: the best."),
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option("--out", help="Draw the map as an SVG file.")
    ] = None,
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Map the chance of potting a ball from everywhere on the bed, 10 mm by 10 mm."""
    from calibration.jsonfile import write_text
    from service.drawing.chance_map import chance_map_svg
    from service.position.plan.chance_map import chance_map
    from service.words.planning import chances_lines

    ground = Ground.open(calibration)
    there = ground.layout(entry_of(layout))
    table = ground.table_for(there)
    pockets = POCKET_NAMES if pocket is None else (table.pocket(pocket).name,)
    chart = chance_map(there, ball, table, pockets=pockets, player=player_from(player))
    if drawing is not None:
        write_text(drawing, chance_map_svg(table, there, chart, units=units))
    cue = there.ball("cue")
    now = None if cue is None else chart.at(cue.centre_mm)
    if as_json:
        print_json(_chances_json(chart, now))
        return
    for line in chances_lines(chart, now, Lengths.on(table, units)):
        say(line)


@app.command("player")
@guarded
def player_command(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="FOLDER|STILLS...",
            help="A session's folder of stills or layouts; with --reach the stills themselves.",
        ),
    ],
    plan: Annotated[
        Path | None, typer.Option("--plan", help="The session's intents, plan.json.")
    ] = None,
    as_reach: Annotated[
        bool,
        typer.Option(
            "--reach",
            help="Learn the reach: in each still the cue ball lies where it can just be played, "
            "with at most one other ball, at which it would be.",
        ),
    ] = False,
    bridge: Annotated[
        bool, typer.Option("--bridge", help="With --reach: played with the mechanical bridge.")
    ] = False,
    side: Annotated[
        str | None,
        typer.Option(
            "--side",
            help="With --reach: the stills show the reach back, body_side or off_side alone.",
        ),
    ] = None,
    result: Annotated[
        Path, typer.Option("--out", help="Where to write the player's settings.")
    ] = Path("player.json"),
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    as_json: JSON = False,
) -> None:
    """Fit a player's spreads from a recorded session, or learn his reach from stills.

    What the record is too short for, or no still shows, keeps the value of --player, or the
    starting value, which is then said to be assumed.
    """
    ground, who = Ground.open(calibration), player_from(player)
    if as_reach:
        _learn_reach(paths, ground, who, result, bridge=bridge, side=side, as_json=as_json)
    elif len(paths) != 1 or plan is None:
        raise FileFormatError(
            f"player: got {len(paths)} path(s) {'with' if plan else 'without'} --plan; allowed: "
            "one session's folder with --plan, or --reach with stills. Give one of them."
        )
    else:
        _fit_spreads(paths[0], plan, ground, who, result, as_json=as_json)


def _learn_reach(
    stills: list[Path],
    ground: Ground,
    who: Player,
    result: Path,
    *,
    bridge: bool,
    side: str | None,
    as_json: bool,
) -> None:
    from service.position.meant.player_file import write_player
    from service.position.plan.reach_map import learned_reach

    layouts = [ground.layout(entry_of(path)) for path in stills]
    table = ground.table_for(layouts[0])
    for other in layouts[1:]:
        check_surface(other, table)
    found = learned_reach(layouts, table, who, bridge=bridge, side=side)
    write_player(result, found.player)
    if as_json:
        print_json({"player": found.player.to_dict(), "reach": found.to_dict()})
        return
    for name in found.mapped:
        say(f"{name}: {getattr(found.player, name):.0f} mm, from {len(layouts)} still(s)")
    for name in found.assumed:
        say(f"{name}: {getattr(found.player, name):.0f} mm, assumed: no still shows that side")
    note(f"written to {result}")


def _fit_spreads(
    folder: Path, plan: Path, ground: Ground, who: Player, result: Path, *, as_json: bool
) -> None:
    from service.position.meant.player_file import write_player
    from service.position.plan.record import fit_player
    from service.practice import Plan, score_session

    from .session import read_session

    meant = Plan.read(plan)
    readings, table = read_session(folder_entries(folder, leave_out=plan), ground)
    scored = score_session(readings, meant, table, player=who)
    pairs = [
        (attempt.before_layout, attempt.verdict)
        for attempt in scored.attempts
        if attempt.before_layout is not None and attempt.verdict is not None
    ]
    if not pairs:
        raise FileFormatError(
            f"{folder}: holds no attempt that can be scored; allowed: a session with its plan. "
            "Look at what `restmark session` says about it."
        )
    fitted = fit_player(pairs, table, who)
    write_player(result, fitted.player, fitted=fitted.to_dict())
    if as_json:
        print_json({"player": fitted.player.to_dict(), "fitted": fitted.to_dict()})
        return
    for line in _fitted_lines(fitted):
        say(line)
    note(f"written to {result}")


def _routes_grid(
    names: list[str], reports: list[RouteReport], best: int | None, lengths: Lengths
) -> Grid:
    from service.words.planning import ROUTE_LABELS, route_words

    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("")
    for i, name in enumerate(names):
        grid.add_column(escape(name) + (" (forgives most)" if i == best and len(names) > 1 else ""))
    said = [route_words(report, lengths) for report in reports]
    for label, *texts in zip(ROUTE_LABELS, *said, strict=True):
        grid.add_row(label, *map(escape, texts))
    return grid


def _chances_json(chart: ChanceMap, now: float | None) -> dict[str, Any]:
    best = chart.best
    rows = [[None if value != value else round(float(value), 4) for value in row]
            for row in chart.chance]  # fmt: skip
    return {
        "ball": chart.ball,
        "surface_mm": list(chart.surface_mm),
        "step_mm": chart.step_mm,
        "from_cue": now,
        "best": None if best is None else {"place_mm": list(best[0]), "chance": best[1]},
        "pockets": list(POCKET_NAMES),
        "chance": rows,
        "pocket": chart.pocket.tolist(),
        "assumed": list(chart.assumed),
    }


def _fitted_lines(fitted: Fitted) -> list[str]:
    lines = []
    for field, name, spread, unit, scale, what in (
        ("aim_spread_deg", "aim spread", fitted.aim, "°", 1.0, "pots and misses"),
        ("contact_error_mm", "contact error", fitted.contact, " mm", 1.0, "pots and misses"),
        ("throw_spread_deg", "throw spread", fitted.throw, "°", 1.0, "pots and misses"),
        ("speed_spread", "speed spread", fitted.speed, " % of the way", 100.0, "stops"),
        ("line_spread_deg", "line spread", fitted.line, "°", 1.0, "stops"),
    ):
        kept = scale * getattr(fitted.player, field)
        if spread.fitted or field in fitted.player.assumed([field]):
            source = (
                "from" if spread.fitted else "assumed, a starting value, too little to tell from"
            )
            between = f" ({scale * spread.low:.3g} to {scale * spread.high:.3g})"
        else:
            source, between = "as given, too little to tell from", ""
        lines.append(f"{name}: {kept:.3g}{unit}{between}, {source} {spread.count} {what}")
    return lines
