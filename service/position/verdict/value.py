"""What a place is worth: the chance of potting the next ball from it.

The chance of one pot is ``potting``'s: spreads of aim, contact and throw against the pocket's
window, and for thin cuts how far the ball can be sent. Where several pockets are open the player
picks the best one, so the value of a place is the greatest of their chances; where the intent
names the pocket, it is that pocket's chance. Cushion nearness and elevation are not part of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import MultiPolygon

from calibration.arrays import BoolArray, FloatArray
from calibration.table import BALL_DIAMETER_MM, Pocket, PointMm, Table
from service.position.shot.path import EDGE_MM, LEAST_INSET_MM, ghost_room_mm
from service.position.shot.potting import chance_of
from service.position.shot.reach import reached
from service.position.shot.window import entry_turns_rad
from service.position.zone.landing import LandingZone
from service.position.zone.membership import Leave, pockets_of, pot_free, way_free

BEST_STEP_MM = 50.0
"""Spacing at which a zone is first searched for its best place."""
BEST_MOST = 16
"""At most so many places a side, whatever the zone's size."""
_FINER = 3
_TURNS = 65
_CORNERS = 40
_SURE = 0.995
"""A best place as good as this is not searched for further."""


@dataclass(frozen=True, slots=True)
class OpenPocket:
    """A pocket that the object ball can be sent into: nothing on its way, room behind it."""

    name: str
    ghost_mm: PointMm
    line: PointMm
    """Unit vector from the object ball to the aim point, or, where the cue ball has no room behind
    that line or the ball would touch a point, to the middle of what is left of the mouth."""
    turns_rad: tuple[float, float]
    """Rightmost (0 or less) and leftmost turn off ``line`` on which the ball goes in."""
    pot_mm: float
    """Way of the object ball to the aim point."""
    by_aim_point: bool
    """Whether ``line`` runs to the aim point."""


@lru_cache(maxsize=64)
def open_pockets(
    object_mm: PointMm, others_mm: tuple[PointMm, ...], table: Table
) -> tuple[OpenPocket, ...]:
    """The pockets open to a ball, wherever the cue ball lies; kept for a layout."""
    others = np.asarray(others_mm, dtype=np.float64).reshape(-1, 2)
    found = (_open(pocket, object_mm, others, table) for pocket in pockets_of(table))
    return tuple(pocket for pocket in found if pocket is not None)


def _open(
    pocket: Pocket, object_mm: PointMm, others: FloatArray, table: Table
) -> OpenPocket | None:
    apart = math.dist(object_mm, pocket.aim_mm)
    turns = None if apart == 0 else _turns_with_room(object_mm, pocket, table)
    if turns is None:
        return None
    u = (np.asarray(pocket.aim_mm) - np.asarray(object_mm)) / apart
    right, left = turns
    straight = right <= 0 <= left
    middle = 0.0 if straight else (right + left) / 2
    line = _turned(u, middle)
    target = np.asarray(object_mm)
    if not bool(pot_free(target, target + apart * np.asarray(line), others)):
        return None
    return OpenPocket(
        name=pocket.name,
        ghost_mm=(
            object_mm[0] - BALL_DIAMETER_MM * line[0],
            object_mm[1] - BALL_DIAMETER_MM * line[1],
        ),
        line=line,
        turns_rad=(right - middle, left - middle),
        pot_mm=apart,
        by_aim_point=straight,
    )


def _turns_with_room(
    object_mm: PointMm, pocket: Pocket, table: Table
) -> tuple[float, float] | None:
    """The turns on which the ball goes in and a cue ball has room behind it."""
    turns = entry_turns_rad(object_mm, pocket)
    if turns is None:
        return None
    if _room_throughout(turns, object_mm, pocket, table):
        return turns
    tried = np.linspace(*turns, _TURNS)
    tried = np.unique(np.append(tried, 0.0)) if turns[0] < 0 < turns[1] else tried
    way = np.asarray(pocket.aim_mm) - np.asarray(object_mm)
    angles = math.atan2(way[1], way[0]) + tried
    ghosts = np.asarray(object_mm) - BALL_DIAMETER_MM * np.stack(
        [np.cos(angles), np.sin(angles)], axis=-1
    )
    fits = np.flatnonzero(ghost_room_mm(ghosts, table) >= -EDGE_MM)
    if fits.size < 2:
        return None
    run = max(np.split(fits, np.flatnonzero(np.diff(fits) > 1) + 1), key=len)
    return (float(tried[run[0]]), float(tried[run[-1]])) if len(run) > 1 else None


def _room_throughout(
    turns: tuple[float, float], object_mm: PointMm, pocket: Pocket, table: Table
) -> bool:
    """Whether the ghost balls of both ends lie so far inside that all between do."""
    ax, ay = pocket.aim_mm
    way = math.atan2(ay - object_mm[1], ax - object_mm[0])
    bulge = BALL_DIAMETER_MM * (1 - math.cos((turns[1] - turns[0]) / 2))
    inset = LEAST_INSET_MM + bulge
    for turn in turns:
        x = object_mm[0] - BALL_DIAMETER_MM * math.cos(way + turn)
        y = object_mm[1] - BALL_DIAMETER_MM * math.sin(way + turn)
        if not (inset <= x <= table.length_mm - inset and inset <= y <= table.width_mm - inset):
            return False
    return True


def _turned(u: FloatArray, turn_rad: float) -> PointMm:
    cosine, sine = math.cos(turn_rad), math.sin(turn_rad)
    return (float(cosine * u[0] - sine * u[1]), float(sine * u[0] + cosine * u[1]))


def chance_by_pocket(cue_mm: ArrayLike, leave: Leave) -> Mapping[str, FloatArray]:
    """Chance (0 … 1) of potting the next ball from places (..., 2), for every pocket open to it.

    0 where the cue ball's way is blocked, where the cut would be 90° or more, and out of reach.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    flat = cue.reshape(-1, 2)
    others = np.asarray(leave.others_mm, dtype=np.float64).reshape(-1, 2)
    return {
        pocket.name: _chance_into(pocket, flat, others, leave).reshape(cue.shape[:-1])
        for pocket in open_pockets(leave.object_mm, leave.others_mm, leave.table)
    }


def pot_chance(cue_mm: ArrayLike, leave: Leave) -> FloatArray:
    """Chance (0 … 1) of potting the next ball from places (..., 2).

    In the leave's pocket where it names one, else in the best of all.
    """
    cue = np.asarray(cue_mm, dtype=np.float64)
    others = np.asarray(leave.others_mm, dtype=np.float64).reshape(-1, 2)
    best = np.zeros(cue.reshape(-1, 2).shape[0])
    for pocket in open_pockets(leave.object_mm, leave.others_mm, leave.table):
        if leave.pocket in (None, pocket.name):
            chance = _chance_into(pocket, cue.reshape(-1, 2), others, leave)
            best = np.maximum(best, chance)
    return best.reshape(cue.shape[:-1])


def best_chance(zone: LandingZone, leave: Leave) -> float | None:
    """The best pot chance among the places of a zone; None for an empty zone.

    Searched on a grid of about 50 mm, at corners of the outline and at the wanted spot, then
    on finer grids about the best of them.
    """
    if zone.is_empty or zone.wanted_mm is None:
        return None
    left, low, right, high = zone.shape.bounds
    # a copy of our own to prepare: zones are kept and may be asked by several threads at once
    shape = MultiPolygon(list(zone.shape.geoms))
    shapely.prepare(shape)
    corners = shapely.get_coordinates(shape)
    some = np.linspace(0, len(corners) - 1, min(len(corners), _CORNERS)).astype(int)
    kept = np.concatenate([corners[some], [zone.wanted_mm]])
    places = np.concatenate([_inside(shape, (left, low), (right, high), BEST_STEP_MM), kept])
    chances = pot_chance(places, leave)
    best = float(chances.max())
    step = max(right - left, high - low) / BEST_MOST
    step = max(step, BEST_STEP_MM)
    for _ in range(_FINER):
        if best > _SURE:
            break
        x, y = places[int(chances.argmax())]
        fine = _inside(shape, (x - step, y - step), (x + step, y + step), step / 3)
        if len(fine) == 0:
            break
        places = np.concatenate([fine, [(x, y)]])
        chances = pot_chance(places, leave)
        best = max(best, float(chances.max()))
        step /= 3
    return best


def _inside(shape: MultiPolygon, low: PointMm, high: PointMm, step_mm: float) -> FloatArray:
    x, y = np.meshgrid(
        *(
            np.linspace(a, b, min(max(2, math.ceil((b - a) / step_mm) + 1), BEST_MOST))
            for a, b in zip(low, high, strict=True)
        )
    )
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    return np.asarray(places[shapely.contains_xy(shape, places[:, 0], places[:, 1])])


def _chance_into(
    pocket: OpenPocket, cue: FloatArray, others: FloatArray, leave: Leave
) -> FloatArray:
    """Chances from places (N, 2) into one pocket."""
    out = np.zeros(len(cue))
    ghost = np.asarray(pocket.ghost_mm)
    playable = (ghost - cue) @ np.asarray(pocket.line) > 0
    some = np.flatnonzero(playable)
    some = some[clear_ways(cue[some], ghost, others)]
    if some.size == 0:
        return out
    places = cue[some]
    by_hand = reached(places, ghost, leave.table, leave.player, bridge=False)
    any_way = by_hand | reached(places, ghost, leave.table, leave.player, bridge=True)
    chance = chance_of(
        places, ghost, np.asarray(pocket.line), pocket.turns_rad, pocket.pot_mm, leave.player,
        by_hand,
    )  # fmt: skip
    out[some] = np.where(any_way, chance, 0.0)
    return out


def clear_ways(cue: FloatArray, ghost: FloatArray, others: FloatArray) -> BoolArray:
    """Which of the places (N, 2) have a free way to the ghost ball (2,)."""
    free: BoolArray = np.ones(len(cue), dtype=np.bool_)
    if len(cue) <= 64:
        return way_free(cue, ghost, others) if len(others) else free
    # ball by ball: long columns are quicker than a table of places by balls
    x, y = cue[:, 0] - ghost[0], cue[:, 1] - ghost[1]
    square = x * x + y * y
    least = BALL_DIAMETER_MM - EDGE_MM
    near = least * least * square
    for bx, by in others - ghost:
        along, across = x * bx + y * by, x * by - y * bx
        beside = (across * across < near) & (along > 0) & (along <= square)
        off_x, off_y = x - bx, y - by
        free &= ~(beside | (off_x * off_x + off_y * off_y < least * least))
    return free
