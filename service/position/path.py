"""Is the way open: cue ball to ghost ball and object ball to pocket, past every other ball."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.layout import Ball

from .cut import ghost_ball_mm
from .geometry import FloatArray, left_of, length, nearest_on_segment, unit

GHOST_SLACK_MM = 3.0
"""A ghost ball may lie this far inside the frozen inset, so that a frozen ball can be played."""
SIGMAS = 1.96
"""How many standard deviations of a clearance count as its uncertainty (95 %)."""
EDGE_MM = 1e-6
"""Rounding slack: a place on a limit belongs to it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """Room left at one obstacle: positive where the way is free of it (mm)."""

    obstacle: str
    """Name of the ball, or ``cushion`` for the ghost ball's distance from the nose lines."""
    leg: str
    """``to ball`` (cue ball to ghost ball), ``to pocket`` or ``ghost``."""
    room_mm: float
    uncertainty_mm: float

    @property
    def state(self) -> str:
        """``open``, ``blocked`` or ``too close to call``."""
        if self.room_mm >= self.uncertainty_mm - EDGE_MM:
            return "open"
        return "blocked" if self.room_mm <= -self.uncertainty_mm else "too close to call"


def clearances(
    cue: Ball, object_ball: Ball, aim_mm: ArrayLike, others: Sequence[Ball], table: Table
) -> tuple[Clearance, ...]:
    """Every clearance of a shot: both legs past every other ball, and the ghost ball's place.

    ``others`` holds the balls besides cue and object ball. The uncertainty is 1.96 standard
    deviations, from the covariances of all balls involved to first order.
    """
    target = np.asarray(object_ball.centre_mm)
    aim = np.asarray(aim_mm, dtype=np.float64)
    ghost = ghost_ball_mm(target, aim)
    ghost_cov = _ghost_cov(object_ball, aim)
    start, start_cov = np.asarray(cue.centre_mm), np.asarray(cue.cov_mm2)
    legs = (
        ("to ball", start, start_cov, ghost, ghost_cov),
        ("to pocket", target, np.asarray(object_ball.cov_mm2), aim, np.zeros((2, 2))),
    )
    found = [_ghost_clearance(ghost, ghost_cov, table)]
    for name, a_mm, a_cov, b_mm, b_cov in legs:
        for ball in others:
            centre = np.asarray(ball.centre_mm)
            share, distance = nearest_on_segment(centre, a_mm, b_mm)
            normal = unit(centre - (a_mm + share * (b_mm - a_mm)))
            if not np.any(normal):
                normal = left_of(unit(b_mm - a_mm))
            cov = np.asarray(ball.cov_mm2) + (1 - share) ** 2 * a_cov + share**2 * b_cov
            found.append(
                Clearance(
                    obstacle=ball.id,
                    leg=name,
                    room_mm=float(distance) - BALL_DIAMETER_MM,
                    uncertainty_mm=_spread_mm(normal, cov),
                )
            )
    return tuple(found)


def path_to_pocket(found: Sequence[Clearance]) -> str:
    """``open``, ``blocked`` or ``too close to call`` from all clearances of a shot."""
    states = {clearance.state for clearance in found}
    if "blocked" in states:
        return "blocked"
    return "too close to call" if "too close to call" in states else "open"


def ghost_room_mm(ghost_mm: ArrayLike, table: Table) -> FloatArray:
    """How far ghost balls (..., 2) stay within the inset less the slack; negative: no room."""
    ghost = np.asarray(ghost_mm, dtype=np.float64)
    inset = FROZEN_INSET_MM - GHOST_SLACK_MM
    return np.min(
        np.stack(
            [
                ghost[..., 0] - inset,
                table.length_mm - inset - ghost[..., 0],
                ghost[..., 1] - inset,
                table.width_mm - inset - ghost[..., 1],
            ]
        ),
        axis=0,
    )


def _ghost_clearance(ghost_mm: FloatArray, cov_mm2: FloatArray, table: Table) -> Clearance:
    sides = np.array(
        [ghost_mm[0], table.length_mm - ghost_mm[0], ghost_mm[1], table.width_mm - ghost_mm[1]]
    )
    axis = int(np.argmin(sides)) // 2
    return Clearance(
        obstacle="cushion",
        leg="ghost",
        room_mm=float(ghost_room_mm(ghost_mm, table)),
        uncertainty_mm=_spread_mm(np.eye(2)[axis], cov_mm2),
    )


def _ghost_cov(object_ball: Ball, aim_mm: FloatArray) -> FloatArray:
    """Covariance of the ghost ball: it moves with the ball and turns about it with u."""
    way = aim_mm - np.asarray(object_ball.centre_mm)
    u = unit(way)
    turn = BALL_DIAMETER_MM / max(float(length(way)), BALL_DIAMETER_MM)
    jacobian = np.eye(2) + turn * (np.eye(2) - np.outer(u, u))
    return np.asarray(jacobian @ np.asarray(object_ball.cov_mm2) @ jacobian.T)


def _spread_mm(normal: FloatArray, cov_mm2: FloatArray) -> float:
    return SIGMAS * float(np.sqrt(max(float(normal @ cov_mm2 @ normal), 0.0)))
