"""Options that several commands share, with one wording of their help."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.words.lengths import Units

if TYPE_CHECKING:
    from service.position import Player
    from vision.name.taught import Taught

CALIBRATION = Annotated[
    Path, typer.Option("--calibration", help="Calibration file of `restmark calibrate`.")
]
CALIBRATION_FOR_STILLS = Annotated[
    Path | None,
    typer.Option(
        "--calibration",
        help="Calibration file of `restmark calibrate`; needed for stills, not for layouts.",
    ),
]
BALL_SET = Annotated[
    Path | None,
    typer.Option("--set", help="The taught ball set, set.json of `restmark teach`."),
]
UNITS = Annotated[
    Units,
    typer.Option(
        "--units", help="What lengths are shown in; JSON stays in millimetres.", show_default=True
    ),
]
REPORT = Annotated[
    Path | None,
    typer.Option(
        "--report",
        metavar="FILE|DIR",
        help="Write the report with its drawings: one .html file, or a folder, made if missing.",
    ),
]
JSON = Annotated[bool, typer.Option("--json", help="Print JSON on standard output.")]
PLAYER = Annotated[
    Path | None,
    typer.Option(
        "--player",
        help="The player's own hand, reach and spreads, player.json of `restmark player`; "
        "default: starting values.",
    ),
]


def player_from(path: Path | None) -> Player:
    """The player in a file, or the starting values."""
    from service.position import Player
    from service.position.meant.player_file import read_player

    return Player() if path is None else read_player(path)


def set_from(path: Path | None) -> Taught | None:
    """The taught set in a file, or none."""
    from vision.name.taught import Taught

    return None if path is None else Taught.read(path)
