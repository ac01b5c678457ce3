"""What a place is worth: the chance of potting the next ball from it.

A first model: the player's direction error is normal with a stated spread, and the pot goes
in while the object ball's direction stays within the pocket's window. Throw, speed, cushion
nearness and elevation are not part of it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.special import ndtr

from calibration.table import BALL_DIAMETER_MM, Pocket

from .cut import cut_deg, ghost_ball_mm
from .geometry import FloatArray, cross, dot, length, unit
from .membership import Leave, path_open
from .reach import reached
from .window import margin_deg
from .zone import LandingZone

BEST_STEP_MM = 40.0
"""Spacing at which a zone is searched for its best place."""
BEST_MOST = 600


def pot_chance(cue_mm: ArrayLike, leave: Leave) -> FloatArray:
    """Chance (0 … 1) of potting the next ball from places (..., 2), in its best open pocket.

    0 where no pocket is open, where the cut would be 90° or more, and out of reach.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    chances = [_chance_in(cue, leave, pocket) for pocket in leave.table.pockets]
    return np.asarray(np.max(np.stack(chances), axis=0))


def best_chance(zone: LandingZone, leave: Leave) -> float | None:
    """The best pot chance among the places of a zone; None for an empty zone.

    Searched on a grid of about 40 mm, at the pieces' corners and at the wanted spot.
    """
    if zone.is_empty or zone.wanted_mm is None:
        return None
    left, low, right, high = zone.shape.bounds
    x, y = np.meshgrid(_grid(left, right), _grid(low, high))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    places = places[shapely.contains_xy(zone.shape, places[:, 0], places[:, 1])]
    corners = shapely.get_coordinates(zone.shape)
    some = np.linspace(0, len(corners) - 1, min(len(corners), 100)).astype(int)
    places = np.concatenate([places, corners[some], [zone.wanted_mm]])
    return float(pot_chance(places, leave).max())


def _grid(start_mm: float, end_mm: float) -> FloatArray:
    count = min(max(2, math.ceil((end_mm - start_mm) / BEST_STEP_MM) + 1), BEST_MOST)
    return np.linspace(start_mm, end_mm, count)


def _chance_in(cue: FloatArray, leave: Leave, pocket: Pocket) -> FloatArray:
    target, aim = np.asarray(leave.object_mm), np.asarray(pocket.aim_mm)
    margin = math.radians(float(margin_deg(target, pocket)))
    if margin <= 0:
        return np.zeros(cue.shape[:-1])
    others = np.asarray(leave.others_mm, dtype=np.float64).reshape(-1, 2)
    ghost = ghost_ball_mm(target, aim)
    possible = path_open(cue, target, aim, others, leave.table)
    possible = possible & (cut_deg(cue, target, aim) < 90.0)
    by_hand = reached(cue, ghost, leave.table, leave.player, bridge=False)
    possible &= by_hand | reached(cue, ghost, leave.table, leave.player, bridge=True)
    player = leave.player
    spread = np.radians(player.aim_spread_deg) * np.where(by_hand, 1.0, player.bridge_spread_factor)
    left, right = (_aim_limit_rad(cue, target, aim, sign * margin) for sign in (1.0, -1.0))
    chance = np.abs(ndtr(left / spread) - ndtr(right / spread))
    return np.where(possible, chance, 0.0)


def _aim_limit_rad(
    cue: FloatArray, target: FloatArray, aim: FloatArray, turn_rad: float
) -> FloatArray:
    """Aim error that sends the object ball ``turn_rad`` to the left of its line, (...).

    Where the cue ball cannot reach that contact point any more, the error at which it just
    touches the object ball.
    """
    u = unit(aim - target)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turned = np.array([c * u[0] - s * u[1], s * u[0] + c * u[1]])
    ghost, other = target - BALL_DIAMETER_MM * u, target - BALL_DIAMETER_MM * turned
    wanted, needed, ball = ghost - cue, other - cue, target - cue
    error = np.arctan2(cross(wanted, needed), dot(wanted, needed))
    bearing = np.arctan2(cross(wanted, ball), dot(wanted, ball))
    grazing = np.arcsin(np.minimum(1.0, BALL_DIAMETER_MM / np.maximum(length(ball), 1e-9)))
    beyond = dot(needed, turned) < 0
    # a contact point behind the ball's edge is out of reach: the edge on that side counts
    edge = bearing - np.sign(turn_rad) * grazing
    return np.where(beyond, edge, error)
