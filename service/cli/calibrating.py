"""``calibrate`` and ``map``: the commands that make and try a calibration."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
import typer

from calibration.chi_square import PLANE_AXIS_95
from calibration.errors import CalibrationError, RestmarkError
from calibration.jsonfile import write_text
from calibration.lengths import length_mm
from calibration.table import BALL_CENTRE_HEIGHT_MM, NAMED_SURFACES_MM, Table
from service.words.calibration import blind_line, calibration_lines
from service.words.lengths import Units

from .app import REFUSED, app, guarded
from .console import complain, print_json, say
from .given.inputs import read_bytes, read_picture
from .given.layouts import error_object
from .given.options import CALIBRATION, JSON, UNITS

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_POINT = re.compile(rf"^\s*({_NUMBER})\s*[,;\s]\s*({_NUMBER})\s*$")


class Side(StrEnum):
    """Side of the picture."""

    left = "left"
    right = "right"
    top = "top"
    bottom = "bottom"


class BallsOnBed(StrEnum):
    """What becomes of a still that shows balls."""

    refuse = "refuse"
    accept = "accept"


@app.command()
@guarded
def calibrate(
    empty_still: Annotated[
        Path, typer.Argument(metavar="EMPTY_STILL", help="Still of the empty table.")
    ],
    surface: Annotated[
        str,
        typer.Option(
            "--surface",
            help="9ft, pro8, 8ft, 7ft, or LENGTHxWIDTH measured from cushion edge to cushion edge "
            "(nose to nose): 2540x1270 in mm, 100x50in, 8ft4in x 4ft2in.",
        ),
    ],
    out: Annotated[Path, typer.Option("--out", help="Calibration file to write.")],
    head: Annotated[
        Side, typer.Option("--head", help="Side of the picture on which the head end lies.")
    ] = Side.left,
    lens: Annotated[
        Path | None, typer.Option("--lens", help="Lens file of this camera (best).")
    ] = None,
    camera_height: Annotated[
        str | None,
        typer.Option(
            "--camera-height",
            metavar="LENGTH",
            help="Height of the lens above the bed, measured: 2590 in mm, 8ft6in, 102in; beside a "
            "lens file it checks the surface's size.",
        ),
    ] = None,
    camera_height_error: Annotated[
        str,
        typer.Option(
            "--camera-height-error", metavar="LENGTH", help="How well that is known (95 %)."
        ),
    ] = "20mm",
    ball_check: Annotated[
        Path | None,
        typer.Option(
            "--ball-check",
            help="Still from the same camera with a ball frozen to the cushion before each of the "
            "sights head-2, foot-2, left-2, left-6, right-2, right-6 (four or more, one at each "
            "side); along the cushion by eye is enough.",
        ),
    ] = None,
    surface_error: Annotated[
        str | None,
        typer.Option(
            "--surface-error",
            metavar="LENGTH",
            help="How well length and width are known (95 %); default: 3.2 mm for a named size, "
            "as tables are built, and 1 mm for a measured LENGTHxWIDTH.",
        ),
    ] = None,
    error_map: Annotated[
        Path | None,
        typer.Option(
            "--error-map", help="Picture (SVG) of the stated error over the bed to write."
        ),
    ] = None,
    points: Annotated[
        Path | None,
        typer.Option("--points", help="Points given by hand, beside those found in the still."),
    ] = None,
    points_only: Annotated[
        bool, typer.Option("--points-only", help="Use the points alone and look for nothing else.")
    ] = False,
    on_bed: Annotated[
        BallsOnBed,
        typer.Option(
            "--balls-on-bed",
            help="What to do where the still shows balls: refuse it, or accept it and compare no "
            "later still with its bed.",
        ),
    ] = BallsOnBed.refuse,
    units: UNITS = Units.MM,
) -> None:
    """Calibrate the camera on a still of the empty table and write a calibration file.

    From above, focal length and height trade against each other. The best of what is given
    settles them, in this order: --lens, --camera-height, --ball-check, the focal length in the
    still's EXIF data (which is rough), a default (which is a guess). The first line says whether
    the result is good enough to trust, and if not, what to do. Lengths are mm unless they say cm,
    m, in or ft.

    A points file names places of the table and their pixels: {"format": "restmark-points",
    "version": 1, "points": [{"is": "left-3", "u": 812.0, "v": 101.5}]}. Names: sights (left-3,
    head-2), nose points of pockets (foot-left/1 is the left one as seen from the bed, /2 the
    right one), spots (foot spot); or x_mm, y_mm and z_mm instead of a name. sigma_px is a
    point's expected error, 1 px where nothing is said.
    """
    from calibration.from_still import calibrate as calibrated
    from calibration.lens.file import Lens
    from calibration.seen.exif import focal_of
    from calibration.seen.points import read_points
    from calibration.solve.known import Known
    from service.drawing.error_map import error_map_svg
    from vision.bed.blind import blind_share
    from vision.known.ball_check import seen_balls
    from vision.known.empty_check import balls_on_bed, refuse_balls, with_balls_accepted
    from vision.still import decode_still

    if points_only and points is None:
        raise CalibrationError(
            "--points-only: given without --points; allowed: both. Name the points file."
        )
    table = Table.from_surface(surface)
    given = Known(
        lens=Lens.read(lens) if lens is not None else None,
        camera_height_mm=_length(camera_height, "--camera-height"),
        camera_height_error_mm=length_mm(camera_height_error, what="--camera-height-error"),
        surface_error_mm=_surface_error(surface, _length(surface_error, "--surface-error")),
        points=read_points(points) if points is not None else (),
        points_only=points_only,
    )
    data, name = read_bytes(empty_still), str(empty_still)
    still = decode_still(data, name=name)
    known = replace(given, focal=focal_of(data, (still.shape[1], still.shape[0])))
    check = None
    if ball_check is not None:
        check = partial(seen_balls, read_picture(ball_check), name=str(ball_check))
    made = calibrated(still, table, head.value, known, ball_check=check)
    balls = balls_on_bed(made, still, name=name)
    if on_bed is BallsOnBed.refuse:
        refuse_balls(balls, name=name)
    made = with_balls_accepted(made, balls)
    made.write(out)
    lines = [*calibration_lines(made, units), *blind_line(blind_share(made))]
    say(lines[0])
    say(f"calibration written to {out}")
    if error_map is not None:
        write_text(error_map, error_map_svg(made) + "\n")
        say(f"error map written to {error_map}")
    for line in lines[1:]:
        say(f"  {line}")


def _length(text: str | None, option: str) -> float | None:
    return None if text is None else length_mm(text, what=option)


def _surface_error(surface: str, given_mm: float | None) -> float:
    """To how many mm the surface is known: as told, or by how it was named."""
    from calibration.solve.known import MEASURED_ERROR_MM, NAMED_ERROR_MM

    if given_mm is not None:
        return given_mm
    return NAMED_ERROR_MM if surface in NAMED_SURFACES_MM else MEASURED_ERROR_MM


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

    The stated error is the calibration's own at that place, against a tape measure from the
    head nose and the lower long nose; the pixel is taken as exact.
    """
    from calibration.kept.calibration import Calibration

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
    """One pixel on the table at a height, with the calibration's 2×2 covariance there.

    Raises:
        CalibrationError: the pixel is outside the picture, or does not look at that height.
    """
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
    cov = made.covariance_mm2([[x_mm, y_mm]], np.zeros((2, 2)), height_mm, by_tape=True)[0]
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
    spread = PLANE_AXIS_95 * math.sqrt(
        max(np.linalg.eigvalsh(np.asarray(place["cov_mm2"])).max(), 0.0)
    )
    return (
        f"{place['u']:g},{place['v']:g}  →  x {x:.1f} mm  y {y:.1f} mm   ± {spread:.1f} mm (95 %)"
        f"   {across:.2f}, {along:.2f} diamonds"
    )
