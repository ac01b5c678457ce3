"""Options that several commands share, with one wording of their help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

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
JSON = Annotated[bool, typer.Option("--json", help="Print JSON on standard output.")]
