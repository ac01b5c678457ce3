"""``layout``: the library of layouts, their files, and where each ball goes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.markup import escape
from rich.table import Table as Grid

from calibration.errors import RestmarkError
from calibration.jsonfile import write_bytes
from service.words.lengths import Lengths, Units
from service.words.plain import counted

from .app import REFUSED, app, guarded
from .console import complain, out, print_json, say
from .given.inputs import entry_of
from .given.layouts import Ground
from .given.options import BALL_SET, CALIBRATION_FOR_STILLS, JSON, PLAYER, STORE, UNITS, player_from
from .served.asked import AT_TABLE, SERVER, TOKEN, TRUST, asked, unless_all_is_lost
from .served.library import Library, ServedLibrary, kept_from, library

if TYPE_CHECKING:
    from service.layouts.entry import KeptLayout
    from service.position import Player
    from vision.layout import Layout

layouts = typer.Typer(
    name="layout",
    help="Record layouts, find them, put them on paper, and be told where each ball goes.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(layouts)

DATA = Annotated[
    Path | None,
    typer.Option("--data", help="Folder of the store, whose library is meant; as of `serve`."),
]
LAYOUT = (
    "A layout's file (.json, .svg, .png or .pdf of the library), or with --data or --server its "
    "number there."
)
_DATA = Path("restmark-data")
FORMATS = (".svg", ".png", ".pdf", ".json", ".html")
DONE, NOT_DONE = 0, 1


@layouts.command()
@guarded
def record(
    still: Annotated[
        Path | None,
        typer.Argument(
            metavar="STILL|LAYOUT",
            help="A still, or a layout as read prints it; with --server it may be left out: the "
            "table as it lies now.",
        ),
    ] = None,
    title: Annotated[str, typer.Option("--title", help="What it is called.")] = "",
    text: Annotated[str, typer.Option("--note", help="A note on it.")] = "",
    tags: Annotated[list[str] | None, typer.Option("--tag", help="A tag; may be repeated.")] = None,
    intent: Annotated[
        Path | None, typer.Option("--intent", help="The shot that is played from it.")
    ] = None,
    result: Annotated[
        Path | None, typer.Option("--out", help=f"File to write it to: {', '.join(FORMATS)}.")
    ] = None,
    data: DATA = None,
    store_url: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    at_table: AT_TABLE = None,
    calibration: CALIBRATION_FOR_STILLS = None,
    ball_set: BALL_SET = None,
) -> None:
    """Record a layout from a still or a reading: to a file, to a library, or both.

    The library is a store's (--data) or a running service's (--server); a service's calibration
    reads the still where none is given.
    """
    from service.layouts.entry import KeptLayout
    from service.position import Intent

    if result is None and data is None and server is None:
        raise typer.BadParameter("give --out FILE, --data DIR or --server URL")
    shot = None if intent is None else Intent.read(intent)
    with library(data, store_url, asked(server, token, trust, at_table), new=True) as held:
        if still is not None:
            layout = _ground(calibration, ball_set, held).layout(entry_of(still))
            kept = KeptLayout(
                title=title or still.stem,
                note=text,
                tags=tuple(tags or ()),
                layout=_clear(layout, still),
                intent=shot,
            )
            number = None if held is None else held.record(kept)
        elif isinstance(held, ServedLibrary):
            words = tuple(tags or ())
            number, kept = held.record_now(title or None, note=text, tags=words, intent=shot)
        else:
            raise typer.BadParameter("give STILL, or --server for the table as it lies")
    balls = counted(len(kept.layout.balls), "ball")
    if result is not None:
        write_bytes(result, _file([kept], result, tiles=False, units=Units.MM, player=None))
        say(f"{balls} recorded in {result}")
    if held is not None:
        say(f"{balls} recorded as layout {number} in {held.where}")


@layouts.command("list")
@guarded
def list_layouts(
    data: Annotated[
        Path | None, typer.Option("--data", help=f"Folder of the store; default: {_DATA}.")
    ] = None,
    store_url: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    words: Annotated[
        str | None,
        typer.Option("--words", help="Only those with these words in title, note, tags."),
    ] = None,
    tag: Annotated[str | None, typer.Option("--tag", help="Only those with this tag.")] = None,
    as_json: JSON = False,
) -> None:
    """List the layouts of a library, newest first."""
    with library(_folder(data, server), store_url, asked(server, token, trust)) as held:
        assert held is not None
        found = held.listed(words=words, tag=tag)
    if as_json:
        for each in found:
            print_json(each)
        return
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("number", "title", "balls", "tags", "note"):
        grid.add_column(heading, justify="right" if heading in ("number", "balls") else "left")
    for each in found:
        balls, tags = str(len(each["layout"]["balls"])), ", ".join(each["tags"])
        cells = (str(each["id"]), each["title"], balls, tags, each["note"])
        grid.add_row(*(escape(cell) for cell in cells))
    out().print(grid)


@layouts.command("import")
@guarded
def import_layouts(
    given: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE…",
            help="Files of the library, each of one layout: .json, .svg, .png or .pdf.",
        ),
    ],
    data: Annotated[
        Path | None, typer.Option("--data", help=f"Folder of the store; default: {_DATA}.")
    ] = None,
    store_url: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
) -> None:
    """Bring layouts into a library from files that `export` or the pages wrote.

    A drawing, picture or sheet holds its layout inside: title, note, tags, places, errors and the
    shot. A photo, a scan, or a file that another program saved again holds none.
    """
    failed = False
    with library(_folder(data, server), store_url, asked(server, token, trust), new=True) as held:
        assert held is not None
        for path in given:
            try:
                number, kept = held.bring_in(path)
            except RestmarkError as refused:
                unless_all_is_lost(refused)
                failed = True
                complain(refused.detail)
                continue
            say(f"{path}: layout {number} in {held.where}: {kept.title}")
    if failed:
        raise typer.Exit(REFUSED)


@layouts.command()
@guarded
def export(
    given: Annotated[list[str], typer.Argument(metavar="LAYOUT…", help=LAYOUT)],
    result: Annotated[
        Path,
        typer.Option("--out", help=f"File to write: {', '.join(FORMATS)}; several: .html or .pdf."),
    ],
    data: DATA = None,
    store_url: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    mirror: Annotated[
        str | None,
        typer.Option("--mirror", help="across: left and right change; along: head and foot."),
    ] = None,
    turn: Annotated[int, typer.Option("--turn", help="0 or 180 degrees.")] = 0,
    tiles: Annotated[
        bool, typer.Option("--tiles", help="In a .pdf: sheets 1:1 for paper markers too.")
    ] = False,
    title: Annotated[str, typer.Option("--title", help="Of a lesson.")] = "Lesson",
    text: Annotated[str, typer.Option("--note", help="Of a lesson.")] = "",
    units: UNITS = Units.MM,
    player: PLAYER = None,
) -> None:
    """Write layouts to a file: drawing, picture, sheet with places, or several as a lesson."""
    with library(data, store_url, asked(server, token, trust)) as held:
        kept = [kept_from(each, held).copied(mirror=mirror, turn_deg=turn) for each in given]
    whose = None if player is None else player_from(player)
    write_bytes(
        result,
        _file(kept, result, tiles=tiles, units=units, player=whose, title=title, note=text),
    )
    say(f"written: {result}")


@layouts.command()
@guarded
def guide(
    wanted: Annotated[str, typer.Option("--layout", help=f"What is to be laid. {LAYOUT}")],
    still: Annotated[
        Path | None,
        typer.Argument(
            metavar="STILL|LAYOUT",
            help="The table as it lies now; with --server it may be left out: the newest still "
            "there.",
        ),
    ] = None,
    tolerance_mm: Annotated[
        float | None, typer.Option("--tolerance", help="How near is near enough, mm.")
    ] = None,
    data: DATA = None,
    store_url: STORE = None,
    server: SERVER = None,
    token: TOKEN = None,
    trust: TRUST = None,
    at_table: AT_TABLE = None,
    calibration: CALIBRATION_FOR_STILLS = None,
    ball_set: BALL_SET = None,
    units: UNITS = Units.MM,
    as_json: JSON = False,
) -> None:
    """Say where each ball goes so that the table lies as the layout; exit status 0 when it does."""
    from service.guide import guided
    from service.guide.guided import DEFAULT_MM
    from service.layouts.entry import carried_over
    from service.words.laying.guide import (
        doubt_words,
        move_words,
        off_words,
        state_words,
        step_words,
        swap_words,
    )

    with library(data, store_url, asked(server, token, trust, at_table)) as held:
        if still is not None:
            now = _ground(calibration, ball_set, held).layout(entry_of(still))
        elif isinstance(held, ServedLibrary):
            now = held.now()
        else:
            raise typer.BadParameter("give STILL, or --server for the table as it lies")
        target = carried_over(kept_from(wanted, held).layout, now.surface_mm)
    found = guided(target, now, tolerance_mm=DEFAULT_MM if tolerance_mm is None else tolerance_mm)
    lengths = Lengths(units=units, surface_mm=now.surface_mm)
    if as_json:
        print_json({**found.to_dict(), "said": state_words(found, lengths)})
        raise typer.Exit(DONE if found.is_done else NOT_DONE)
    say(state_words(found, lengths))
    grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("ball", "off", "what to do"):
        grid.add_column(heading)
    for move in found.moves:
        grid.add_row(move.ball, off_words(move.off_mm, lengths), move_words(move, lengths))
    if found.moves:
        out().print(grid)
    for number, step in enumerate(found.steps, start=1):
        say(f"{number}. {step_words(step, lengths)}")
    for swap in found.swaps:
        say(f"note: {swap_words(swap.balls, swap.saves_mm, lengths)}")
    for notice in found.notices:
        say(f"note: {doubt_words(notice, lengths)}")
    raise typer.Exit(DONE if found.is_done else NOT_DONE)


def _folder(data: Path | None, server: str | None) -> Path | None:
    """The store's folder, which has a default unless a service is asked."""
    return _DATA if data is None and server is None else data


def _ground(calibration: Path | None, ball_set: Path | None, held: Library | None) -> Ground:
    """What reads stills: the calibration given, or a service's."""
    if calibration is None and isinstance(held, ServedLibrary):
        return Ground.of(held.calibration(), ball_set)
    return Ground.open(calibration, ball_set)


def _clear(layout: Layout, still: Path) -> Layout:
    if layout.obstructed:
        raise RestmarkError(
            f"{still}: something lies over the table; allowed: a still of the clear table. Take "
            "another.",
            code="obstructed",
        )
    return layout


def _file(
    kept: Sequence[KeptLayout],
    result: Path,
    *,
    tiles: bool,
    units: Units,
    player: Player | None,
    title: str = "Lesson",
    note: str = "",
) -> bytes:
    """What goes into a file of that name."""
    from service.layouts.files import layout_json, layout_svg
    from service.layouts.lesson import Lesson
    from service.sheets.layout_sheet import layout_pdf
    from service.sheets.lesson_sheet import lesson_html, lesson_pdf
    from service.sheets.picture import layout_png

    ending = result.suffix.lower()
    allowed = FORMATS if len(kept) == 1 else (".html", ".pdf")
    if ending not in allowed:
        raise RestmarkError(
            f"--out: got {result.name!r} for {len(kept)} layout(s); allowed: a name that ends in "
            f"{', '.join(allowed)}. Name the file so.",
            code="bad-output",
        )
    if ending == ".html" or len(kept) > 1:
        lesson = Lesson(
            title=title if len(kept) > 1 else kept[0].title, note=note, parts=tuple(kept)
        )
        if ending == ".pdf":
            return lesson_pdf(lesson, player=player, units=units)
        return lesson_html(lesson, player=player, units=units).encode()
    one = kept[0]
    if ending == ".json":
        return layout_json(one)
    if ending == ".pdf":
        return layout_pdf(one, tiles=tiles, player=player, units=units)
    if ending == ".svg":
        return layout_svg(one, player=player, units=units).encode()
    return layout_png(one, player=player, units=units)
