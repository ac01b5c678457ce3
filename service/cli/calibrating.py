"""``calibrate`` and ``map``: the commands that make and try a calibration."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import typer

from calibration.errors import CalibrationError, RestmarkError
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from service.report.words import calibration_lines

from .app import REFUSED, app, guarded
from .console import complain, print_json, say
from .inputs import read_picture
from .layouts import error_object
from .options import CALIBRATION, JSON

if TYPE_CHECKING:
    from calibration.files import Calibration

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_POINT = re.compile(rf"^\s*({_NUMBER})\s*[,;\s]\s*({_NUMBER})\s*$")


class Side(StrEnum):
    """Side of the picture."""

    left = "left"
    right = "right"
    top = "top"
    bottom = "bottom"


@app.command()
@guarded
def calibrate(
    empty_still: Annotated[
        Path, typer.Argument(metavar="EMPTY_STILL", help="Still of the empty table.")
    ],
    surface: Annotated[
        str,
        typer.Option(
            "--surface", help="9ft, pro8, 8ft, 7ft or LENGTHxWIDTH in mm, nose to nose, measured."
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Calibration file to write.")],
    head: Annotated[
        Side, typer.Option("--head", help="Side of the picture on which the head end lies.")
    ] = Side.left,
    lens: Annotated[
        Path | None, typer.Option("--lens", help="Lens file of this camera (best).")
    ] = None,
    camera_height_mm: Annotated[
        float | None,
        typer.Option("--camera-height", help="Height of the lens above the bed, mm, measured."),
    ] = None,
) -> None:
    """Calibrate the camera on a still of the empty table and write a calibration file."""
    from calibration.calibrate import calibrate as solve_still
    from calibration.lens import Lens

    if lens is not None and camera_height_mm is not None:
        raise CalibrationError(
            "--camera-height: given beside --lens; allowed: one of them. Leave the height out: "
            "the lens file settles the scale better."
        )
    table = Table.from_surface(surface)
    fitted = Lens.read(lens) if lens is not None else None
    still = read_picture(empty_still)
    made = solve_still(still, table, head.value, lens=fitted, camera_height_mm=camera_height_mm)
    made.write(out)
    say(f"calibration written to {out}")
    for line in calibration_lines(made):
        say(f"  {line}")


@app.command("map", context_settings={"ignore_unknown_options": True})
@guarded
def map_pixels(
    points: Annotated[
        list[str],
        typer.Argument(
            metavar="U,V", help="Pixels U,V of the still; - reads one U,V a line from stdin."
        ),
    ],
    calibration: CALIBRATION,
    height_mm: Annotated[
        float, typer.Option("--height", help="Height above the bed, mm; default: ball centres.")
    ] = BALL_CENTRE_HEIGHT_MM,
    as_json: JSON = False,
) -> None:
    """Turn pixels of a still into millimetres on the table.

    The stated error is the calibration's own at that place; the pixel is taken as exact.
    """
    from calibration.files import Calibration

    made = Calibration.read(calibration)
    if not math.isfinite(height_mm):
        raise typer.BadParameter("allowed: a finite number of mm", param_hint="--height")
    failed = False
    for text, source in _points(points):
        try:
            place = map_point(made, _pixel(text, source), height_mm)
        except RestmarkError as refused:
            failed = True
            complain(refused.detail)
            if as_json:
                print_json({"point": text, "error": error_object(refused)})
            continue
        if as_json:
            print_json(place)
        else:
            say(_place_words(made.table, place))
    if failed:
        raise typer.Exit(REFUSED)


def map_point(made: Calibration, pixel_px: tuple[float, float], height_mm: float) -> dict[str, Any]:
    """One pixel on the table at a height, with the calibration's 2×2 covariance there."""
    u, v = pixel_px
    wide, high = made.camera.image_size_px
    if not (-0.5 <= u <= wide - 0.5 and -0.5 <= v <= high - 0.5):
        raise CalibrationError(
            f"pixel: got {u:g},{v:g}; allowed: inside the picture, 0,0 to {wide - 1},{high - 1}. "
            "The lens is known nowhere else."
        )
    x_mm, y_mm = (float(value) for value in made.table_mm([[u, v]], height_mm)[0])
    if not (math.isfinite(x_mm) and math.isfinite(y_mm)):
        raise CalibrationError(
            f"pixel: got {u:g},{v:g}, whose view ray does not meet the height {height_mm:g} mm; "
            "allowed: a pixel that looks at that plane. Give another pixel or height."
        )
    cov = made.covariance_mm2([[x_mm, y_mm]], np.zeros((2, 2)), height_mm)[0]
    return {
        "u": u,
        "v": v,
        "x_mm": x_mm,
        "y_mm": y_mm,
        "cov_mm2": [[float(value) for value in row] for row in cov],
    }


def _points(arguments: list[str]) -> Iterator[tuple[str, str]]:
    """Each point as written, with where it was written."""
    for argument in arguments:
        if argument == "-":
            for number, line in enumerate(sys.stdin, start=1):
                if line.strip():
                    yield line.strip(), f"line {number}"
        else:
            yield argument, "argument"


def _pixel(text: str, source: str) -> tuple[float, float]:
    match = _POINT.match(text)
    if match is None and source == "argument":
        raise typer.BadParameter(f"got {text!r}; allowed: U,V such as 960,540", param_hint="U,V")
    if match is None:
        raise CalibrationError(
            f"{source}: got {text!r}; allowed: U,V such as 960,540. Correct the line.",
            code="bad-point",
        )
    return float(match[1]), float(match[2])


def _place_words(table: Table, place: dict[str, Any]) -> str:
    x, y = place["x_mm"], place["y_mm"]
    across, along = table.diamonds((x, y))
    spread = 2.448 * math.sqrt(max(np.linalg.eigvalsh(np.asarray(place["cov_mm2"])).max(), 0.0))
    return (
        f"{place['u']:g},{place['v']:g}  →  x {x:.1f} mm  y {y:.1f} mm   ± {spread:.1f} mm (95 %)"
        f"   {across:.2f}, {along:.2f} diamonds"
    )
