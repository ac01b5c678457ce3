"""Balls frozen at known cushions as landmarks at ball height: the check that needs no tape.

A ball frozen to a cushion has its centre at a known distance from that nose line; along the
cushion its place is taken as seen, so it can be laid there by eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.table import BALL_CENTRE_HEIGHT_MM, FROZEN_INSET_MM, Table

from .marks import OUTWARD, Landmark, side_point_mm

PLACES = ("head-2", "foot-2", "left-2", "left-6", "right-2", "right-6")
"""Where to freeze a ball: to the cushion before the sight of that name."""
FEWEST_BALLS = 4
FROZEN_SIGMA_MM = 0.4
"""How well a frozen ball's distance from the nose line is known, 1 sigma: nose heights of 35.7
to 36.9 mm move it by 0.17, and frozen by eye is a paper's thickness or two."""
_ALONG_MM, _ACROSS_MM = 90.0, 14.0
"""How far from a place a ball may be seen and still be the one meant."""
_LEAST_SIGMA_PX = 0.05
_STEP_MM = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenBall:
    """A ball's centre as read from a still."""

    centre_px: tuple[float, float]
    cov_px2: tuple[tuple[float, float], tuple[float, float]]


def frozen_place_mm(table: Table, name: str) -> tuple[float, float]:
    """Centre of a ball frozen at the place called ``name``."""
    side, number = name.split("-")
    share = int(number) / (4 if OUTWARD[side][0] else 8)
    along = share * (table.width_mm if OUTWARD[side][0] else table.length_mm)
    return side_point_mm(table, side, along, -FROZEN_INSET_MM)


def frozen_marks(balls: Sequence[SeenBall], camera: Camera, table: Table) -> tuple[Landmark, ...]:
    """Landmarks for the balls that lie at ``PLACES`` by a provisional ``camera``.

    Refuses fewer than four, or none at one of the sides, naming the places that lack a ball.
    Balls elsewhere are left alone.

    Raises:
        CalibrationError: balls lack at their places.
    """
    seen_px = np.array([ball.centre_px for ball in balls], dtype=float).reshape(-1, 2)
    seen_mm = camera.back_project(seen_px, BALL_CENTRE_HEIGHT_MM)
    found: dict[str, Landmark] = {}
    for name in PLACES:
        index = _ball_at(seen_mm, table, name)
        if index is not None:
            along = 1 if OUTWARD[name.split("-")[0]][0] else 0
            found[name] = _mark(balls[index], float(seen_mm[index, along]), name, camera, table)
    sides = {name.split("-")[0] for name in found}
    lacking = [name for name in PLACES if name not in found]
    if len(found) < FEWEST_BALLS or len(sides) < len(OUTWARD):
        raise CalibrationError(
            f"ball check: got balls at {', '.join(found) or 'none'} of the places, none at "
            f"{', '.join(lacking)}; allowed: {FEWEST_BALLS} or more, with one at each of the four "
            "sides. Freeze a ball to the cushion before each of these sights and take the still "
            "again from the same camera."
        )
    return tuple(found.values())


def _ball_at(seen_mm: FloatArray, table: Table, name: str) -> int | None:
    """The ball nearest to a place, if any is near enough."""
    if len(seen_mm) == 0:
        return None
    off = np.abs(seen_mm - np.array(frozen_place_mm(table, name)))
    room = (_ACROSS_MM, _ALONG_MM) if OUTWARD[name.split("-")[0]][0] else (_ALONG_MM, _ACROSS_MM)
    near = np.all(off <= np.array(room), axis=1)
    if not near.any():
        return None
    return int(np.argmin(np.where(near, np.hypot(*off.T), np.inf)))


def _mark(ball: SeenBall, along_mm: float, name: str, camera: Camera, table: Table) -> Landmark:
    side = name.split("-")[0]
    places = [
        (*side_point_mm(table, side, along_mm + step, -FROZEN_INSET_MM), BALL_CENTRE_HEIGHT_MM)
        for step in (-_STEP_MM, _STEP_MM)
    ]
    before, after = camera.project(places)
    tangent = (after - before) / np.hypot(*(after - before))
    normal = np.array([-tangent[1], tangent[0]])
    sigma_px = float(np.sqrt(normal @ np.asarray(ball.cov_px2) @ normal))
    return Landmark(
        name=f"ball at {name}",
        kind="ball",
        point_mm=(*side_point_mm(table, side, along_mm, -FROZEN_INSET_MM), BALL_CENTRE_HEIGHT_MM),
        seen_px=ball.centre_px,
        normal_px=(float(normal[0]), float(normal[1])),
        sigma_px=max(sigma_px, _LEAST_SIGMA_PX),
        built_sigma_mm=FROZEN_SIGMA_MM,
    )
