"""Is the way open: cue ball to ghost ball and object ball to pocket, past all that lies there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from calibration.arrays import FloatArray
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, FROZEN_INSET_MM, Pocket, Table
from service.position.geometry import left_of, length, nearest_on_segment, unit
from vision.layout import Ball

from .cut import ghost_ball_mm

GHOST_SLACK_MM = 3.0
"""A ghost ball may lie this far inside the frozen inset, so that a frozen ball can be played."""
SIGMAS = 1.96
"""How many standard deviations of a clearance count as its uncertainty (95 %)."""
EDGE_MM = 1e-6
"""Rounding slack: a place on a limit belongs to it."""
LEAST_INSET_MM = FROZEN_INSET_MM - GHOST_SLACK_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """Room left at one obstacle: positive where the way is free of it (mm)."""

    obstacle: str
    """Name of the ball; a pocket's nose point such as ``foot-left/1`` (1 is the left one as seen
    from the bed); or ``cushion`` for the ghost ball's distance from the nose lines."""
    leg: str
    """``to ball`` (cue ball to ghost ball), ``to pocket``, ``mouth`` (into the pocket between
    its own nose points) or ``ghost``."""
    room_mm: float
    uncertainty_mm: float

    @property
    def state(self) -> str:
        """``open``, ``blocked`` or ``too close to call``."""
        if self.room_mm >= self.uncertainty_mm - EDGE_MM:
            return "open"
        return "blocked" if self.room_mm <= -self.uncertainty_mm else "too close to call"


@dataclass(frozen=True, slots=True)
class _Leg:
    """A straight way with the covariance of both its ends (mm, mm²)."""

    name: str
    start_mm: FloatArray
    start_cov: FloatArray
    end_mm: FloatArray
    end_cov: FloatArray


def clearances(
    cue: Ball, object_ball: Ball, pocket: Pocket, others: Sequence[Ball], table: Table
) -> tuple[Clearance, ...]:
    """Every clearance of a shot, nearest obstacles first within a leg.

    Both legs past every other ball, the ghost ball's place, the pocket's own nose points for the
    object ball, and all nose points for a cue ball that lies in a pocket's jaws. ``others`` holds
    the balls besides cue and object ball. The uncertainty is 1.96 standard deviations, from the
    covariances of all balls involved to first order.
    """
    target, target_cov = np.asarray(object_ball.centre_mm), np.asarray(object_ball.cov_mm2)
    aim = np.asarray(pocket.aim_mm)
    ghost = ghost_ball_mm(target, aim)
    ghost_cov = _ghost_cov(object_ball, aim)
    still = np.zeros((2, 2))
    to_ball = _Leg("to ball", np.asarray(cue.centre_mm), np.asarray(cue.cov_mm2), ghost, ghost_cov)
    found = [_ghost_clearance(ghost, ghost_cov, table)]
    if others:
        names = [ball.id for ball in others]
        centres = np.array([ball.centre_mm for ball in others])
        covs = np.array([ball.cov_mm2 for ball in others])
        for leg in (to_ball, _Leg("to pocket", target, target_cov, aim, still)):
            found += _past(leg, names, centres, covs, BALL_DIAMETER_MM)
    nose_names, points = nose_points_mm(table)
    if _in_jaws(cue, table):
        found += _past(to_ball, nose_names, points, still, FROZEN_INSET_MM, only_ahead=True)
    # the ball rolls on past the mouth line until it is clear of both points
    through = aim + pocket.mouth_mm / 2 * unit(aim - target)
    own = [i for i, name in enumerate(nose_names) if name.startswith(f"{pocket.name}/")]
    mouth = _Leg("mouth", target, target_cov, through, still)
    found += _past(
        mouth, [nose_names[i] for i in own], points[own], still, BALL_RADIUS_MM, only_ahead=True
    )
    return tuple(found)


def path_to_pocket(found: Sequence[Clearance]) -> str:
    """``open``, ``blocked`` or ``too close to call`` from a shot's clearances.

    Both legs and the ghost ball's place; how the ball enters between the pocket's own points is
    ``mouth_state``.
    """
    return _worst(clearance for clearance in found if clearance.leg != "mouth")


def mouth_state(found: Sequence[Clearance]) -> str:
    """Whether the object ball enters cleanly between its pocket's points, in the same words."""
    return _worst(clearance for clearance in found if clearance.leg == "mouth")


def _worst(found: Iterable[Clearance]) -> str:
    states = {clearance.state for clearance in found}
    if "blocked" in states:
        return "blocked"
    return "too close to call" if "too close to call" in states else "open"


def ghost_room_mm(ghost_mm: ArrayLike, table: Table) -> FloatArray:
    """How far ghost balls (..., 2) stay within the inset less the slack; negative: no room."""
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    x, y = ghost[..., 0], ghost[..., 1]
    length_mm, width_mm = table.surface_mm
    nearest = np.minimum(np.minimum(x, length_mm - x), np.minimum(y, width_mm - y))
    return np.asarray(nearest - LEAST_INSET_MM)


@lru_cache(maxsize=32)
def nose_points_mm(table: Table) -> tuple[tuple[str, ...], FloatArray]:
    """Names and places (12, 2) of the pockets' nose points, ``head-left/1`` and so on."""
    names = [f"{pocket.name}/{i}" for pocket in table.pockets for i in (1, 2)]
    places = np.array([point for pocket in table.pockets for point in pocket.nose_points_mm])
    places.setflags(write=False)
    return tuple(names), places


def _in_jaws(cue: Ball, table: Table) -> bool:
    """Nearer to a nose line than any cushion lets it come, so within a pocket's mouth."""
    return float(ghost_room_mm(cue.centre_mm, table)) < 0


def _past(
    leg: _Leg,
    names: Sequence[str],
    centres_mm: FloatArray,
    covs_mm2: FloatArray,
    least_mm: float,
    *,
    only_ahead: bool = False,
) -> list[Clearance]:
    """Clearances of one leg past obstacles (M, 2) that must stay ``least_mm`` from its line.

    ``only_ahead`` leaves out obstacles that the ball moves away from at once.
    """
    way = leg.end_mm - leg.start_mm
    share, distance = nearest_on_segment(centres_mm, leg.start_mm, leg.end_mm)
    off = centres_mm - (leg.start_mm + share[:, None] * way)
    touching = distance < EDGE_MM
    normal = np.where(touching[:, None], left_of(unit(way)), off)
    size = np.where(touching, 1.0, distance)
    x, y = normal[:, 0] / size, normal[:, 1] / size
    cov = covs_mm2.reshape(-1, 4) + np.outer((1 - share) ** 2, leg.start_cov)
    cov = cov + np.outer(share**2, leg.end_cov)
    variance = x * x * cov[:, 0] + x * y * (cov[:, 1] + cov[:, 2]) + y * y * cov[:, 3]
    spread = np.sqrt(np.maximum(variance, 0.0))
    return [
        Clearance(
            obstacle=names[i],
            leg=leg.name,
            room_mm=float(distance[i]) - least_mm,
            uncertainty_mm=SIGMAS * float(spread[i]),
        )
        for i in np.argsort(distance, kind="stable")
        if share[i] > 0 or not only_ahead
    ]


def _ghost_clearance(ghost_mm: FloatArray, cov_mm2: FloatArray, table: Table) -> Clearance:
    sides = np.array(
        [ghost_mm[0], table.length_mm - ghost_mm[0], ghost_mm[1], table.width_mm - ghost_mm[1]]
    )
    axis = int(np.argmin(sides)) // 2
    return Clearance(
        obstacle="cushion",
        leg="ghost",
        room_mm=float(ghost_room_mm(ghost_mm, table)),
        uncertainty_mm=SIGMAS * float(np.sqrt(max(cov_mm2[axis, axis], 0.0))),
    )


def _ghost_cov(object_ball: Ball, aim_mm: FloatArray) -> FloatArray:
    """Covariance of the ghost ball: it moves with the ball and turns about it with u."""
    way = aim_mm - np.asarray(object_ball.centre_mm)
    u = unit(way)
    turn = BALL_DIAMETER_MM / max(float(length(way)), BALL_DIAMETER_MM)
    jacobian = np.eye(2) + turn * (np.eye(2) - np.outer(u, u))
    return np.asarray(jacobian @ np.asarray(object_ball.cov_mm2) @ jacobian.T)
