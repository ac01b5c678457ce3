"""``board`` and ``lens``: print a lens board, and fit the lens from stills of it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from service.words.lens import coverage_lines, lens_lines, still_lines

from .app import app, guarded
from .console import say, tracked
from .given.inputs import read_bytes

if TYPE_CHECKING:
    from calibration.lens.board_views import Still
    from calibration.lens.file import BoardStill


class Pattern(StrEnum):
    """Kind of lens board."""

    charuco = "charuco"
    chessboard = "chessboard"


class Paper(StrEnum):
    """Sheet that the board is printed on."""

    a3 = "A3"
    a4 = "A4"
    letter = "letter"


PATTERN = Annotated[Pattern, typer.Option("--pattern", help="Kind of board.")]
SQUARES = Annotated[str, typer.Option("--squares", help="Squares of the board, COLUMNSxROWS.")]
MARKER_MM = Annotated[
    float | None,
    typer.Option(
        "--marker-mm", help="Side of a ChArUco marker, mm; default: three quarters of a square."
    ),
]
DICTIONARY = Annotated[
    str, typer.Option("--dictionary", help="Marker dictionary of a ChArUco board.")
]


@app.command()
@guarded
def board(
    out: Annotated[Path, typer.Option("--out", help="PDF to write.")],
    paper: Annotated[
        Paper, typer.Option("--paper", help="Sheet to print on.", case_sensitive=False)
    ] = Paper.a3,
    pattern: PATTERN = Pattern.charuco,
    squares: SQUARES = "7x10",
    square_mm: Annotated[
        float | None,
        typer.Option(
            "--square-mm", help="Side of a square, mm; default: the largest whole mm that fits."
        ),
    ] = None,
    marker_mm: MARKER_MM = None,
    dictionary: DICTIONARY = "5X5_250",
) -> None:
    """Print a lens board: a PDF true to scale, with a 100 mm bar to check the print."""
    from calibration.lens.board import BoardPattern, squares_of
    from calibration.lens.paper import default_square_mm, lay_out
    from calibration.lens.sheet import write_sheet

    if square_mm is None:
        square_mm = default_square_mm(paper.value, squares_of(squares))
    made = BoardPattern.from_text(
        squares,
        pattern=pattern.value,
        square_mm=square_mm,
        marker_mm=marker_mm,
        dictionary=dictionary,
    )
    write_sheet(out, lay_out(paper.value, made))
    wide_mm, high_mm = made.size_mm
    say(f"board written to {out}")
    say(f"  {paper.value}, pattern {wide_mm:g} x {high_mm:g} mm")
    say("  print at 100 %, no scaling, and measure the bar: it should be 100 mm long")
    say(f"  then: restmark lens STILLS {made.options} --out lens.json")
    say("  where the bar is not 100 mm long, add --ruler-mm with its length")


@app.command()
@guarded
def lens(
    board_stills: Annotated[
        list[Path],
        typer.Argument(
            metavar="BOARD_STILLS", help="Stills of the printed board, 10 to 15 at many tilts."
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Lens file to write.")],
    pattern: PATTERN = Pattern.charuco,
    squares: SQUARES = "7x10",
    square_mm: Annotated[
        float, typer.Option("--square-mm", help="Side of a square of the board, mm.")
    ] = 40.0,
    marker_mm: MARKER_MM = None,
    dictionary: DICTIONARY = "5X5_250",
    ruler_mm: Annotated[
        float | None,
        typer.Option(
            "--ruler-mm",
            help="What the board's 100 mm bar measures on paper; squares and markers are scaled "
            "by it.",
        ),
    ] = None,
) -> None:
    """Fit the camera's lens from stills of a printed board and write a lens file."""
    from calibration.lens.board import BoardPattern
    from calibration.lens.fit import fit_lens

    told = BoardPattern.from_text(
        squares,
        pattern=pattern.value,
        square_mm=square_mm,
        marker_mm=marker_mm,
        dictionary=dictionary,
    )
    stills, unread = _pictures(board_stills)
    fitted = fit_lens(stills, told, ruler_mm=ruler_mm, unread=unread)
    fitted.write(out)
    say(f"lens written to {out}")
    for line in (*lens_lines(fitted), *still_lines(fitted), *coverage_lines(fitted)):
        say(f"  {line}")


def _pictures(paths: list[Path]) -> tuple[list[Still], list[BoardStill]]:
    """Pictures by name, and records of the files that hold none."""
    from calibration.lens.file import BoardStill
    from vision.still import StillError, decode_still

    stills: list[Any] = []
    unread: list[BoardStill] = []
    for path in tracked(paths, "reading stills"):
        data, name = read_bytes(path), str(path)
        try:
            stills.append((name, decode_still(data, name=name)))
        except StillError as refused:
            unread.append(
                BoardStill(name=name, used=False, code=refused.code, reason=refused.detail)
            )
    return stills, unread
