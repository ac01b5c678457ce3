"""Landmarks of an empty-table still, found without help: match, solve, match again, closer.

The cloth's outline gives a first camera. Around its predictions the seams, then noses,
facings and sights are looked for in windows that shrink as the camera gets better.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.lens.file import Lens
from calibration.notices import Notice
from calibration.seen.edges import Light
from calibration.seen.marks import (
    Landmark,
    Landmarks,
)
from calibration.seen.points import stands_alone
from calibration.solve.solve import settle
from calibration.table import Table

from .cloth import find_cloth
from .enough import check_found, check_still
from .first_hold import first_hold
from .matching import SEAMS, Pass, matched
from .vetting import lined_up

ImageArray = NDArray[np.uint8]


_PASSES = (
    Pass(back=8.0, nose=8.0, sight=18.0, pocket=0.0),
    Pass(back=5.0, nose=5.0, sight=10.0, pocket=7.0),
    Pass(back=3.0, nose=3.0, sight=6.0, pocket=4.0),
)


def find_landmarks(
    still_bgr: ImageArray,
    table: Table,
    head: str,
    lens: Lens | None = None,
    given: Sequence[Landmark] = (),
) -> Landmarks:
    """Landmarks of the empty ``table`` in ``still_bgr`` ((H, W, 3), 8-bit).

    ``head`` is the side of the picture on which the head end lies. ``given`` are hand-given
    points: they take part, start the search where there are enough of them, and replace what is
    found of the same name.

    Raises:
        CalibrationError: the table cannot be found whole and the points do not suffice.
    """
    check_still(still_bgr, head, lens)
    height, width = still_bgr.shape[:2]
    blank = Landmarks(items=tuple(given), head=head, image_size_px=(width, height))
    light = Light.of(still_bgr)
    if not stands_alone(given, table):
        ways = find_cloth(still_bgr, head)
        likeliest = next(ways)
        shape = likeliest[0].shape_words(table, lens, (width, height))
        try:
            camera, change_mm = first_hold(light, chain([likeliest], ways), table, blank, lens)
            return replace(_closer(light, camera, table, change_mm, blank, lens), shape=shape)
        except CalibrationError as refused:
            raise CalibrationError(
                f"{refused.detail} {shape}".strip(), code=refused.code, fields=refused.fields
            ) from None
    try:
        camera, change_mm = _pointed_hold(light, table, blank, lens)
        marks = _closer(light, camera, table, change_mm, blank, lens)
        marks = lined_up(marks, *settle(marks, lens))
        check_found(marks, alone=True)
        return marks
    except CalibrationError as few:
        note = Notice(
            code="points-alone",
            text=f"only the {len(given)} given points are used: {few.detail}",
            fields={"points": len(given)},
        )
        return replace(blank, notes=(note,))


def _closer(
    light: Light,
    camera: Camera,
    table: Table,
    change_mm: Mapping[str, float],
    blank: Landmarks,
    lens: Lens | None,
) -> Landmarks:
    """All kinds of landmarks around a first camera, in windows that shrink."""
    marks = matched(light, camera, table, change_mm, _PASSES[0], blank)
    for search in _PASSES[1:]:
        camera, change_mm = settle(marks, lens, camera)
        marks = matched(light, camera, table, change_mm, search, blank)
    return marks


def _pointed_hold(
    light: Light, table: Table, given: Landmarks, lens: Lens | None
) -> tuple[Camera, dict[str, float]]:
    """Camera and dimensions by hand-given points, drawn closer by the seams around."""
    camera, change_mm = settle(given, lens)
    marks = matched(light, camera, table, change_mm, SEAMS, given)
    return settle(marks, lens, camera)
