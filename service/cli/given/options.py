"""Options that several commands share, with one wording of their help."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from service.words.lengths import Units

from .inputs import InputError

if TYPE_CHECKING:
    from service.position import Player
    from vision.find.detect import Finder
    from vision.name.taught import Taught


class FinderKind(StrEnum):
    """What finds the balls."""

    shipped = "shipped"
    ultralytics = "ultralytics"


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
CALIBRATIONS_FOR_STILLS = Annotated[
    list[Path] | None,
    typer.Option(
        "--calibration",
        help="Calibration file of `restmark calibrate`; needed for stills, not for layouts. With "
        "several cameras over one table each file is followed by its camera's own folder.",
    ),
]
CALIBRATIONS_OR_SERVER = Annotated[
    list[Path] | None,
    typer.Option(
        "--calibration",
        help="Calibration file of `restmark calibrate`; needed without --server. With several "
        "cameras over one table each file is followed by its camera's own stills, those of one "
        "moment in the same place.",
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
STORE = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="URL",
        envvar="RESTMARK_STORE",
        help="PostgreSQL database for all but the stills' files, postgresql+psycopg://USER@HOST/"
        "DATABASE; default: a file in the folder of --data. Needs the extra `postgres`.",
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
FINDER = Annotated[
    FinderKind,
    typer.Option(
        "--finder",
        help="What finds the balls: the shipped network, or ultralytics (extra `train`) on a "
        "graphics card or with weights of your own. All after it is the same.",
        show_default=True,
    ),
]
WEIGHTS = Annotated[
    Path | None,
    typer.Option(
        "--weights",
        metavar="FILE",
        help="With --finder ultralytics: the finder's weights, .pt or .onnx; default: the shipped "
        "ones. A .pt file can run code when it is opened: open only your own.",
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


def finder_from(kind: FinderKind, weights: Path | None) -> Callable[[], Finder] | None:
    """What loads the finder asked for; None for the shipped network. Loads it once, to refuse now.

    Raises:
        InputError: weights without ``ultralytics``.
        WeightsError, BackendError: no such file, or the extra is not installed.
    """
    if kind is FinderKind.shipped:
        if weights is not None:
            raise InputError(
                f"--weights: got {weights} with the shipped finder; allowed: with --finder "
                "ultralytics. Give both or neither."
            )
        return None
    from vision.find.detect_ultralytics import finder_here

    finder_here(weights)
    return partial(finder_here, weights)


def set_from(path: Path | None) -> Taught | None:
    """The taught set in a file, or none."""
    from vision.name.taught import Taught

    return None if path is None else Taught.read(path)
