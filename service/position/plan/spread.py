"""A player's spreads from their own record: aim from pots and misses, speed and line from stops.

Aim: a shot with half-window h goes in with chance 2Φ(h / σ) − 1, so pots and misses over windows
of different sizes have a likelihood in σ. Its maximum is the spread, and what lies within 1.92
of the maximum is the 95 % interval (likelihood ratio, one parameter). A miss for another reason
(a wrong line, a kiss) widens the spread, as it should for a chance of potting.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import erf
from scipy.stats import chi2

from calibration.arrays import FloatArray
from calibration.chi_square import LINE_95
from calibration.table import Table
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.shot.reach import reach
from service.position.verdict.value import half_window_rad, open_pockets
from service.position.zone.membership import leave_of
from vision.layout import Layout

_STARTING = Player()
DEFAULT_AIM_DEG = (_STARTING.aim_spread_deg, 0.04, 0.30)
"""Starting spread with the range it is believed to lie in; no published figure was found."""
DEFAULT_SPEED = (_STARTING.speed_spread, 0.05, 0.40)
DEFAULT_LINE_DEG = (_STARTING.line_spread_deg, 1.0, 10.0)
LEAST_SHOTS = 20
WIDEST_RATIO = 3.0
"""A fit is used when its interval's ends differ by no more than this factor."""
_GRID_DEG = np.geomspace(0.003, 10.0, 800)
_LEAST_CHANCE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class AimedShot:
    """One recorded pot or miss with the aim error that it allowed."""

    half_window_deg: float
    made: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteStop:
    """Where the cue ball stopped against where it was meant to, along and across its way (mm)."""

    way_mm: float
    """Length of the planned way."""
    along_mm: float
    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A standard deviation with its 95 % interval and what it rests on."""

    value: float
    low: float
    high: float
    count: int
    fitted: bool
    """Whether it comes from the record; else it is the starting value with a wide range."""

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON object."""
        return {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "count": self.count,
            "fitted": self.fitted,
        }


def aimed_shot(
    before: Layout, intent: Intent, table: Table, player: Player, *, made: bool
) -> AimedShot | None:
    """The shot at the ball to pot as an aim window; None where its geometry is unknown.

    Left out: no named ball, pocket or cue ball; a pocket that is not open by the straight way;
    a cut of 90° or more. With a mechanical bridge the window counts as that much smaller.
    """
    cue = before.ball("cue")
    intent = intent.named_on(before)
    if cue is None or intent.pot is None or intent.pocket is None:
        return None
    places = {ball.id: ball.centre_mm for ball in before.balls if ball.id != "cue"}
    leave = leave_of(Intent(next=intent.pot), table, player, places)
    if leave is None:
        return None
    for pocket in open_pockets(leave.object_mm, leave.others_mm, table):
        ghost, line = np.asarray(pocket.ghost_mm), np.asarray(pocket.line)
        if pocket.name != intent.pocket or (ghost - cue.centre_mm) @ line <= 0:
            continue
        half = half_window_rad(np.asarray([cue.centre_mm]), leave.object_mm, pocket.edges)
        by_hand = reach(cue.centre_mm, pocket.ghost_mm, table, player) == "hand"
        factor = 1.0 if by_hand else player.bridge_spread_factor
        return AimedShot(half_window_deg=math.degrees(float(half[0])) / factor, made=made)
    return None


def fit_aim_spread(shots: Sequence[AimedShot]) -> Spread:
    """Aim spread in degrees from pots and misses.

    Until there are 20 shots whose interval is narrower than a factor of 3, the starting value
    with its wide range.
    """
    default = Spread(
        value=DEFAULT_AIM_DEG[0],
        low=DEFAULT_AIM_DEG[1],
        high=DEFAULT_AIM_DEG[2],
        count=len(shots),
        fitted=False,
    )
    if len(shots) < LEAST_SHOTS:
        return default
    half = np.array([shot.half_window_deg for shot in shots])
    made = np.array([shot.made for shot in shots])
    chance = erf(half / (math.sqrt(2.0) * _GRID_DEG[:, None]))
    chance = np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE)
    log = np.where(made, np.log(chance), np.log1p(-chance)).sum(axis=1)
    near = np.flatnonzero(log >= log.max() - LINE_95 / 2)
    low, high = float(_GRID_DEG[near[0]]), float(_GRID_DEG[near[-1]])
    if near[0] == 0 or near[-1] == len(_GRID_DEG) - 1 or high > WIDEST_RATIO * low:
        return default
    best = float(_GRID_DEG[int(log.argmax())])
    return Spread(value=best, low=low, high=high, count=len(shots), fitted=True)


def fit_route_spreads(stops: Sequence[RouteStop]) -> tuple[Spread, Spread]:
    """Spread of the way's length as a share of it, and of its direction in degrees.

    Both about what was meant, so that a standing bias counts too.
    """
    used = [stop for stop in stops if stop.way_mm > 0]
    shares = np.array([stop.along_mm / stop.way_mm for stop in used])
    turns = np.degrees([math.atan2(stop.across_mm, stop.way_mm) for stop in used])
    return _about_zero(shares, DEFAULT_SPEED), _about_zero(turns, DEFAULT_LINE_DEG)


def _about_zero(values: FloatArray, default: tuple[float, float, float]) -> Spread:
    """Root mean square with its 95 % interval; the default where there are too few."""
    count = len(values)
    root = float(np.sqrt(np.mean(np.square(values)))) if count else 0.0
    if count >= LEAST_SHOTS and root > 0:
        low, high = (root * math.sqrt(count / float(chi2.ppf(q, count))) for q in (0.975, 0.025))
        return Spread(value=root, low=low, high=high, count=count, fitted=True)
    value, low, high = default
    return Spread(value=value, low=low, high=high, count=count, fitted=False)


def with_spreads(player: Player, aim: Spread, speed: Spread, line: Spread) -> Player:
    """The player with the spreads that are fitted; the others stay as they are."""
    own = player.to_dict()
    for name, spread in (
        ("aim_spread_deg", aim), ("speed_spread", speed), ("line_spread_deg", line),
    ):  # fmt: skip
        if spread.fitted:
            own[name] = spread.value
    return Player.from_dict(own)
