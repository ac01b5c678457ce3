"""Whether what a table file holds fits together: its table, camera, rail marks and bed picture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.camera import Camera
from calibration.errors import FileFormatError
from calibration.table import Table

from .bed_picture import BedPicture
from .rail_marks import RailMark

_RAIL_SLACK_MM = 60.0
"""Marks lie on the rails; tables are built to a few millimetres, named sizes 180 mm apart."""
_MOST_ASPECT = 2.0
"""Pixels are square, those of stretched videos up to 4:3 to 16:9."""
_EDGE_PX = 5.0
_REMEDY = "Make the file again with `restmark calibrate`."


def check_agreement(
    camera: Camera,
    table: Table,
    rail_marks: Sequence[RailMark],
    bed_picture: BedPicture | None,
    *,
    path: str,
) -> None:
    """Refuse parts that belong to different tables or cameras; FileFormatError with the path."""
    length, width = table.surface_mm
    middle = np.array([[length / 2, width / 2, 0.0]])
    seen = camera.project(middle)[0] if camera.position_mm[2] > 0 else np.array([-1.0, -1.0])
    if not np.all((seen >= 0) & (seen <= np.array(camera.image_size_px))):
        raise FileFormatError(
            f"{path}.camera: got one that does not see the table's middle from above; allowed: the "
            f"camera that the table was calibrated with. {_REMEDY}"
        )
    if not 1 / _MOST_ASPECT < camera.fx_px / camera.fy_px < _MOST_ASPECT:
        raise FileFormatError(
            f"{path}.camera: got fx_px {camera.fx_px:g}, fy_px {camera.fy_px:g}; allowed: one no "
            f"more than {_MOST_ASPECT:g} times the other. {_REMEDY}"
        )
    if rail_marks:
        seen = camera.project(np.array([mark.at_mm for mark in rail_marks]))
        if not np.all((seen > -_EDGE_PX) & (seen < np.array(camera.image_size_px) + _EDGE_PX)):
            raise FileFormatError(
                f"{path}.camera: got one that does not see all rail marks; allowed: the camera "
                f"that saw them. {_REMEDY}"
            )
    for i, mark in enumerate(rail_marks):
        x, y, _ = mark.at_mm
        out = max(-x, x - length, -y, y - width)
        if not 0 < out < table.rail_width_mm + _RAIL_SLACK_MM:
            raise FileFormatError(
                f"{path}.rail_marks[{i}].at_mm: got x {x:g}, y {y:g}; allowed: places on the rails "
                f"of a surface of {length:g}x{width:g} mm. {_REMEDY}"
            )
    if bed_picture is not None:
        _check_bed(bed_picture, table.surface_mm, path=f"{path}.bed_picture")


def _check_bed(bed: BedPicture, surface_mm: tuple[float, float], *, path: str) -> None:
    """The picture lies over the bed's middle and has the bed's size and one margin all round."""
    rows, columns = bed.pixels().shape[:2]
    if bed.scale_mm > max(surface_mm):
        raise FileFormatError(
            f"{path}.scale_mm: got {bed.scale_mm:g}; allowed: millimetres a pixel of a picture of "
            f"the bed. {_REMEDY}"
        )
    sides_mm = bed.scale_mm * np.array([columns, rows])
    middle_mm = np.array(bed.corner_mm) + (sides_mm - bed.scale_mm) / 2
    beyond_mm = sides_mm - surface_mm
    off_mm = np.abs(middle_mm - np.array(surface_mm) / 2).max()
    uneven_mm = abs(beyond_mm[0] - beyond_mm[1])
    if off_mm > bed.scale_mm or beyond_mm.min() < 0 or uneven_mm > 4 * bed.scale_mm:
        raise FileFormatError(
            f"{path}: got {sides_mm[0]:g}x{sides_mm[1]:g} mm round x {middle_mm[0]:g}, y "
            f"{middle_mm[1]:g}; allowed: the bed of a surface of {surface_mm[0]:g}x"
            f"{surface_mm[1]:g} mm. {_REMEDY}"
        )
