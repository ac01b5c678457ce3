"""A lens board in one still as the guide needs it: place and tilt, or why it does not count."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import CalibrationError
from calibration.lens.board import BoardPattern, BoardView, find_board, square_px
from calibration.lens.board_views import BLURRED_SHARE, SHARP_PX
from calibration.lens.sharpness import edge_width_px

TILTS = ("left", "right", "top", "bottom")
"""The edge of the board, as the picture has it, that is tipped away from the camera."""
TILTED = math.sin(math.radians(15))
"""A board leans a way where its normal leans so far: with a guessed focal length a lean of 15°
is told to about 2°."""
MOVED_SHARE = 0.02
"""A board that moved by less than this part of the picture's width shows nothing new."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenBoard:
    """A board that counts."""

    view: BoardView
    outline_px: tuple[tuple[float, float], ...]
    tilts: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "corners": len(self.view.corners_px),
            "outline_px": [list(place) for place in self.outline_px],
            "tilts": list(self.tilts),
        }


def look(
    name: str, grey: NDArray[np.uint8], board: BoardPattern, earlier: Sequence[SeenBoard]
) -> SeenBoard:
    """The board in a still, (H, W) 8-bit.

    Raises:
        CalibrationError: code ``no-board``, ``few-corners``, ``blurred`` or ``same-place``.
    """
    view = find_board(name, grey, board)
    _check_sharp(name, grey, view, board)
    _check_moved(name, view, grey.shape[1], earlier)
    hull = cv2.convexHull(view.corners_px.astype(np.float32))[:, 0]
    return SeenBoard(
        view=view,
        outline_px=tuple((round(float(u), 1), round(float(v), 1)) for u, v in hull),
        tilts=_tilts(view, (grey.shape[1], grey.shape[0])),
    )


def _check_sharp(name: str, grey: NDArray[np.uint8], view: BoardView, board: BoardPattern) -> None:
    width_px = edge_width_px(grey, view, board)
    limit_px = max(SHARP_PX, BLURRED_SHARE * square_px(view.board_mm, view.corners_px, board))
    if width_px > limit_px:
        raise CalibrationError(
            f"{name}: got edges {width_px:.1f} px wide, blurred; allowed: {limit_px:.1f} px. Hold "
            "board and camera still and lock the focus.",
            code="blurred",
        )


def _check_moved(name: str, view: BoardView, width_px: int, earlier: Sequence[SeenBoard]) -> None:
    for other in earlier:
        if _apart_px(view, other.view) < MOVED_SHARE * width_px:
            raise CalibrationError(
                f"{name}: got the board where {other.view.name} has it; allowed: another place or "
                "another tilt. Move the board and take the still again.",
                code="same-place",
            )


def _apart_px(one: BoardView, other: BoardView) -> float:
    """Greatest distance of a corner that both show; infinite where they share none."""
    places = {tuple(np.round(at, 3)): seen for at, seen in zip(other.board_mm, other.corners_px,
                                                                 strict=True)}  # fmt: skip
    apart = [
        float(np.hypot(*(seen - places[key])))
        for at, seen in zip(one.board_mm, one.corners_px, strict=True)
        if (key := tuple(np.round(at, 3))) in places
    ]
    return max(apart, default=math.inf)


def _tilts(view: BoardView, size_px: tuple[int, int]) -> tuple[str, ...]:
    """The edges that are tipped away, by a focal length as long as the picture."""
    focal = float(max(size_px))
    matrix = np.array(
        [[focal, 0, (size_px[0] - 1) / 2], [0, focal, (size_px[1] - 1) / 2], [0, 0, 1]]
    )
    _, rvec, _ = cv2.solvePnP(
        np.ascontiguousarray(view.board_mm), np.ascontiguousarray(view.corners_px), matrix,
        np.zeros(5),
    )  # fmt: skip
    normal = np.asarray(cv2.Rodrigues(rvec)[0])[:, 2]
    lean_right, lean_down = float(normal[0]), float(normal[1])
    # a normal that leans right has the right edge nearer, so the left one away
    leans = (lean_right, -lean_right, lean_down, -lean_down)
    return tuple(name for name, lean in zip(TILTS, leans, strict=True) if lean > TILTED)
