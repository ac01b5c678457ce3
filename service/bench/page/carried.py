"""Stills that carry what is to be read in them: the reading itself costs nothing."""

from __future__ import annotations

import json
from typing import Any

import cv2
import numpy as np

from calibration.kept.calibration import Calibration
from vision.layout import Ball, Layout
from vision.name.taught import Taught

_MARK = b"\nrestmark-layout:"
_COV_MM2 = ((0.1, 0.02), (0.02, 0.2))
_SIZE_PX = (1920, 1080)
BEFORE = {"cue": (1500.0, 400.0), "3": (2100.0, 900.0), "4": (900.0, 300.0), "9": (300.0, 1000.0)}
INTENT: dict[str, Any] = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [5, 60], "distance_mm": [150, 1200],
}  # fmt: skip


def before_still(turn: int) -> bytes:
    """The layout that a shot is played from; no two are the same picture."""
    return _still(_laid(turn), turn)


def after_still(turn: int) -> bytes:
    """Ball 3 is gone, and the cue ball stopped somewhere else each time."""
    left = {name: place for name, place in _laid(turn).items() if name != "3"}
    return _still({**left, "cue": (1900.0 + 7 * turn, 300.0)}, turn + 128)


def read_carried(
    data: bytes,
    calibration: Calibration,
    *,
    name: str = "",
    previous: Layout | None = None,
    taught: Taught | None = None,
) -> Layout:
    """What the still carries, as a reader would find it."""
    carried = data.partition(_MARK)[2]
    return Layout.from_dict({**json.loads(carried), "still": name})


def _laid(turn: int) -> dict[str, tuple[float, float]]:
    """Ball 9 lies elsewhere each time: a layout that lies there again brings its own shot."""
    row, column = divmod(turn, 12)
    return {**BEFORE, "9": (300.0 + 100.0 * column, 1000.0 + 70.0 * row)}


def _still(places: dict[str, tuple[float, float]], shade: int) -> bytes:
    layout = Layout(
        still="",
        surface_mm=(2540.0, 1270.0),
        balls=tuple(
            Ball(id=name, x_mm=x, y_mm=y, cov_mm2=_COV_MM2) for name, (x, y) in places.items()
        ),
    )
    wide, high = _SIZE_PX
    done, jpeg = cv2.imencode(".jpg", np.full((high, wide, 3), (shade % 256, 120, 60), np.uint8))
    assert done
    return jpeg.tobytes() + _MARK + json.dumps(layout.to_dict()).encode()
