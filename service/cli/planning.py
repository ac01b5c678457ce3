"""``route``, ``chances`` and ``player``: before the shot, and what a player is known to do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from calibration.errors import FileFormatError
from calibration.table import POCKET_NAMES

from .app import app, guarded
from .console import note, out, print_json, say
from .inputs import entry_of, folder_entries
from .layouts import Ground, check_surface
from .options import CALIBRATION_FOR_STILLS, JSON, PLAYER, player_from

if TYPE_CHECKING:
    from service.position import Player
    from service.position.plan.chance_map import ChanceMap
    from service.position.plan.record import Fitted
    from service.position.plan.route import RouteReport

LAYOUT = Annotated[Path, typer.Argument(metavar="LAYOUT", help="Still or layout before the shot.")]


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
    calibration: CALIBRATION_FOR_STILLS = None,
    player: PLAYER = None,
    as_json: JSON = False,
) -> None:
    """Lay planned routes of the cue ball side by side: gaps, hooked stretches, what they forgive.

    How spin and cushions turn the cue ball is not predicted: the route is taken as drawn.
    """
    from service.position import Intent
    from service.position.plan.route import most_forgiving, report_route

    meant = [Intent.read(path) for path in intent]
    ground = Ground.open(calibration)
    there = ground.layout(entry_of(layout))
    table, who = ground.table_for(there), player_from(player)
    reports = [report_route(there, each, table, player=who) for each in meant]
    best = most_forgiving(reports)
    names = [str(path) for path in intent]
    if as_json:
        for i, (name, report) in enumerate(zip(names, reports, strict=True)):
            print_json({"intent": name, "forgives_most": i == best, **report.to_dict()})
        return
    out().print(_routes_grid(names, reports, best))
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
    as_json: JSON = False,
) -> None:
    """Map the chance of potting a ball from everywhere on the bed, 10 mm by 10 mm."""
    from calibration.jsonfile import write_text
    from service.drawing.chance_map import chance_map_svg
    from service.position.plan.chance_map import chance_map

    ground = Ground.open(calibration)
    there = ground.layout(entry_of(layout))
    table = ground.table_for(there)
    pockets = POCKET_NAMES if pocket is None else (table.pocket(pocket).name,)
    chart = chance_map(there, ball, table, pockets=pockets, player=player_from(player))
    if drawing is not None:
        write_text(drawing, chance_map_svg(table, there, chart))
    cue = there.ball("cue")
    now = None if cue is None else chart.at(cue.centre_mm)
    if as_json:
        print_json(_chances_json(chart, now))
        return
    for line in _chances_lines(chart, now):
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

    from .scoring import read_session

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


def _routes_grid(names: list[str], reports: list[RouteReport], best: int | None) -> Grid:
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    grid.add_column("")
    for i, name in enumerate(names):
        grid.add_column(escape(name) + (" (forgives most)" if i == best and len(names) > 1 else ""))
    for label, words in (
        ("way", lambda r: f"{r.way_mm:.0f} mm"),
        ("cushions", lambda r: ", ".join(r.rails) or "none"),
        ("tightest gap", _tightest_words),
        ("gaps", lambda r: "\n".join(_gap_words(gap) for gap in r.gaps) or "none"),
        ("hooked", lambda r: _stretch_words(r.hooked) or "nowhere"),
        ("in the zone", _zone_words),
        ("may run", _slack_words),
        ("past every gap", lambda r: f"{100 * r.chance_through:.0f} %"),
        ("stops in the zone", lambda r: "–" if r.chance is None else f"{100 * r.chance:.0f} %"),
    ):
        grid.add_row(label, *(escape(words(report)) for report in reports))
    return grid


def _gap_words(gap: Any) -> str:
    sides = ", ".join(
        f"{'ball ' if name != 'cushion' else ''}{name} {room:.0f} mm {side}"
        for side, name, room in (
            ("left", gap.left, gap.left_mm), ("right", gap.right, gap.right_mm),
        )
    )  # fmt: skip
    state = "" if gap.state == "open" else f" [{gap.state}]"
    return f"after {gap.at_mm:.0f} mm: {sides}{state}"


def _tightest_words(report: RouteReport) -> str:
    gap = report.tightest
    if gap is None:
        return "none"
    balls = gap.to_dict()["room_balls"]
    return f"{gap.room_mm:.0f} mm ({balls:.1f} ball widths) at {gap.nearest}"


def _stretch_words(stretches: Any) -> str:
    return "\n".join(
        f"{stretch.from_mm:.0f} to {stretch.to_mm:.0f} mm ({stretch.word})" for stretch in stretches
    )


def _zone_words(report: RouteReport) -> str:
    if report.zone.is_empty:
        return "no zone"
    ends = "" if report.ends_in_zone else ", ends outside"
    return f"{report.in_zone_mm:.0f} mm of it{ends}"


def _slack_words(report: RouteReport) -> str:
    if report.short_mm is None or report.long_mm is None:
        return "–"
    return f"{report.short_mm:.0f} mm short to {report.long_mm:.0f} mm long"


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


def _chances_lines(chart: ChanceMap, now: float | None) -> list[str]:
    best = chart.best
    lines = [f"from where the cue ball lies: {100 * now:.0f} %"] if now is not None else []
    if best is None or best[1] == 0:
        return [*lines, f"no place gives ball {chart.ball} a way into a pocket"]
    (x, y), chance = best
    lines.append(f"best place: {100 * chance:.0f} % from ({x:.0f}, {y:.0f}) mm")
    for number, name in enumerate(POCKET_NAMES):
        share = float((chart.pocket == number).mean())
        if share:
            lines.append(f"{name}: the best pocket from {100 * share:.0f} % of the bed")
    if chart.assumed:
        lines.append(f"assumed, neither given nor measured: {', '.join(chart.assumed)}")
    return lines


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
