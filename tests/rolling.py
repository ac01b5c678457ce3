"""Balls that roll, meet, bounce and drop: mechanics enough for shots with exact truth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.table import BALL_DIAMETER_MM, Table

FRICTION_MM_S2 = 100.0
"""Rolling resistance: 0.1 m/s²."""
CUSHION, IMPACT = 0.75, 0.95
"""Shares of the speed that are left."""
INSET_MM = 28.0
STEP_S = 0.002
DROP_MM = 52.0
MOUTH_MM = 85.0
LONGEST_S = 12.0

Places = dict[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """A shot from strike to rest."""

    times_s: NDArray[np.float64]
    ways_mm: dict[str, NDArray[np.float64]] = field(repr=False)
    """Of every ball that moved, (T, 2); NaN once it is potted."""
    after: Places
    heading_deg: float
    """Of the cue ball when it came to rest."""
    straight_mm: float
    """Way of the cue ball since it was last turned."""

    @property
    def lasts_s(self) -> float:
        """From strike to rest of all."""
        return float(self.times_s[-1])

    def places(self, before: Places, at_s: float) -> Places:
        """Where the balls lie so long after the strike."""
        k = int(np.clip(round(at_s / STEP_S), 0, len(self.times_s) - 1))
        out = dict(before)
        for name, way in self.ways_mm.items():
            if np.isnan(way[k, 0]):
                del out[name]
            else:
                out[name] = (float(way[k, 0]), float(way[k, 1]))
        return out


def roll(before: Places, velocity_mm_s: tuple[float, float], table: Table) -> Roll:
    """The cue ball struck with that velocity."""
    names = list(before)
    cue = names.index("cue")
    at = np.array([before[name] for name in names], float)
    speed = np.zeros_like(at)
    speed[cue] = velocity_mm_s
    aims = np.array([pocket.aim_mm for pocket in table.pockets])
    live = np.ones(len(names), bool)
    ways, heading, turned_at, travelled = [at.copy()], 0.0, 0.0, 0.0
    while np.hypot(*speed.T).max() > 0 and len(ways) * STEP_S < LONGEST_S:
        pace = np.hypot(*speed.T)
        slow = np.maximum(pace - FRICTION_MM_S2 * STEP_S, 0) / np.maximum(pace, 1e-9)
        speed *= slow[:, None]
        at += speed * STEP_S
        was = speed[cue].copy()
        _meet(at, speed, live)
        _bounce(at, speed, aims, table)
        dropped = live & (np.hypot(*(at[:, None] - aims).transpose(2, 0, 1)).min(axis=1) < DROP_MM)
        live &= ~dropped
        speed[dropped] = 0.0
        if np.hypot(*speed[cue]) > 0:
            travelled += float(np.hypot(*speed[cue])) * STEP_S
            if _angle(was, speed[cue]) > 0.5:
                turned_at = travelled
            heading = float(np.degrees(np.arctan2(speed[cue, 1], speed[cue, 0])))
        shown = at.copy()
        shown[~live] = np.nan
        ways.append(shown)
    stack = np.array(ways)
    moved = [k for k in range(len(names)) if _went(stack[:, k])]
    return Roll(
        times_s=np.arange(len(stack)) * STEP_S,
        ways_mm={names[k]: stack[:, k] for k in moved},
        after={name: (float(at[k, 0]), float(at[k, 1])) for k, name in enumerate(names) if live[k]},
        heading_deg=heading,
        straight_mm=travelled - turned_at,
    )


def _went(way: NDArray[np.float64]) -> bool:
    return bool(np.isnan(way).any() or np.hypot(*(way[-1] - way[0])) > 0)


def _angle(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    turn = np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)
    return float(abs(np.degrees(turn)))


def _meet(at: NDArray[np.float64], speed: NDArray[np.float64], live: NDArray[np.bool_]) -> None:
    """Like balls exchange the part of their speeds along the line between them."""
    for i in np.flatnonzero(live & (np.hypot(*speed.T) > 0)):
        between = at - at[i]
        far = np.hypot(*between.T)
        for j in np.flatnonzero(live & (far < BALL_DIAMETER_MM) & (far > 0)):
            unit = between[j] / far[j]
            closing = float((speed[i] - speed[j]) @ unit)
            if closing > 0:
                push = closing * (1 + IMPACT) / 2 * unit
                speed[i] -= push
                speed[j] += push


def _bounce(
    at: NDArray[np.float64], speed: NDArray[np.float64], aims: NDArray[np.float64], table: Table
) -> None:
    near = np.hypot(*(at[:, None] - aims).transpose(2, 0, 1)).min(axis=1) < MOUTH_MM
    for axis, far in enumerate(table.surface_mm):
        low = (at[:, axis] < INSET_MM) & (speed[:, axis] < 0) & ~near
        high = (at[:, axis] > far - INSET_MM) & (speed[:, axis] > 0) & ~near
        speed[low | high, axis] *= -CUSHION
