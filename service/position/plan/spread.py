"""A player's spreads from their own record: aim, contact and throw from pots, the rest from stops.

Pots and misses over windows, ways and cuts of different sizes have a likelihood in the three
spreads of ``potting``. Each one's profile, the other two weighed by the range believed of them
(95 % of a log-normal belief), has its maximum at the spread, and what lies within 1.92 of it is
the 95 % interval (likelihood ratio, one parameter). Short and long ways tell contact from aim,
full and thin hits tell throw from both; a record that does not leaves the spread at its starting
value. A miss for another reason (a wrong line, a kiss) widens the spreads, as it should for a
chance of potting.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.stats import chi2

from calibration.arrays import FloatArray
from calibration.chi_square import LINE_95
from calibration.table import Table
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.meant.settings import STARTING
from service.position.shot.potting import pot_share, throw_rad, touches_mm
from service.position.shot.reach import reach
from service.position.verdict.value import open_pockets
from service.position.zone.membership import leave_of
from vision.layout import Layout

POT_SPREADS = ("aim_spread_deg", "contact_error_mm", "throw_spread_deg")
LEAST_SHOTS = 20
WIDEST_RATIO = 3.0
"""A fit is used when its interval's ends differ by no more than this factor."""
_RANGE_SIGMAS = 3.92
_STEP = 1.06
"""Of the walk to an interval's ends; between two steps the profile is taken as straight."""
_WIDEST = {
    "aim_spread_deg": (0.003, 10.0),
    "contact_error_mm": (0.03, 40.0),
    "throw_spread_deg": (0.03, 20.0),
}
"""Where each is looked for."""
_LEAST_CHANCE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class AimedShot:
    """One recorded pot or miss with the errors that it allowed."""

    window_mm: float
    """Half the width of the touches that send the ball in (``touches_mm``)."""
    way_mm: float
    """From the cue ball to the ghost ball."""
    half_turn_deg: float
    """Half the angle of the ball's ways into the pocket."""
    throw_share: float
    """Share of the greatest throw at this cut, 0 … 1."""
    aim_factor: float = 1.0
    """How much wider the aim spread was, with a mechanical bridge."""
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


def starting_spread(name: str, count: int) -> Spread:
    """The starting value with the range it is believed to lie in."""
    own = STARTING[name]
    return Spread(value=own.value, low=own.low, high=own.high, count=count, fitted=False)


def aimed_shot(
    before: Layout, intent: Intent, table: Table, player: Player, *, made: bool
) -> AimedShot | None:
    """The shot at the ball to pot as the errors it allows; None where its geometry is unknown.

    Left out: no named ball, pocket or cue ball; a pocket that is not open by the straight way;
    a cut of 90° or more.
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
        way = np.asarray(pocket.ghost_mm) - cue.centre_mm
        size, line = float(np.hypot(*way)), pocket.line
        ahead = float(way[0] * line[0] + way[1] * line[1])
        if pocket.name != intent.pocket or ahead <= 0:
            continue
        sine = np.array([(way[0] * line[1] - way[1] * line[0]) / size])
        by_hand = reach(cue.centre_mm, pocket.ghost_mm, table, player) == "hand"
        window, _ = touches_mm(sine, np.array([ahead / size]), pocket.turns_rad)
        return AimedShot(
            window_mm=float(window[0]),
            way_mm=size,
            half_turn_deg=math.degrees(pocket.turns_rad[1] - pocket.turns_rad[0]) / 2,
            throw_share=math.degrees(float(throw_rad(sine, 1.0)[0])),
            aim_factor=1.0 if by_hand else player.bridge_spread_factor,
            made=made,
        )
    return None


def fit_pot_spreads(shots: Sequence[AimedShot], player: Player) -> dict[str, Spread]:
    """Spreads of aim, contact and throw from pots and misses, by the player's field names.

    Until there are 20 shots whose interval is narrower than a factor of 3, a spread is the
    starting value with its wide range. What is fitted is fitted beside the player's own value of
    what is not; its interval allows for the whole range of that.
    """
    count = len(shots)
    found = {name: starting_spread(name, count) for name in POT_SPREADS}
    if count < LEAST_SHOTS:
        return found
    record = _Record(shots)
    ends = {name: record.interval(name) for name in POT_SPREADS}
    free = [name for name in POT_SPREADS if ends[name] is not None]
    own = {name: float(getattr(player, name)) for name in POT_SPREADS}
    values, _ = record.likeliest(own, {name: _WIDEST[name] for name in free})
    for name in free:
        low, high = ends[name] or (0.0, 0.0)
        value = values[name]
        low, high = min(low, value), max(high, value)
        found[name] = Spread(value=value, low=low, high=high, count=count, fitted=True)
    return found


class _Record:
    """Pots and misses as one likelihood in the three spreads."""

    def __init__(self, shots: Sequence[AimedShot]) -> None:
        kept = [shot for shot in shots if shot.window_mm > 0]
        columns = np.array(
            [(s.window_mm, s.way_mm, s.half_turn_deg, s.throw_share, s.aim_factor) for s in kept]
        ).reshape(-1, 5)
        self._window, self._way, turn, throw, self._factor = columns.T
        self._throw = throw / turn
        self._made = np.array([shot.made for shot in kept], dtype=np.bool_)

    def _cost(self, spreads: Mapping[str, float], believed: Iterable[str] = ()) -> float:
        """Minus the log likelihood, with the belief in some of the spreads."""
        aim, contact, throw = (spreads[name] for name in POT_SPREADS)
        chance = pot_share(
            self._window,
            self._way,
            throw * self._throw,
            half_turn_rad=1.0,
            aim_rad=math.radians(aim) * self._factor,
            contact_mm=contact,
        )
        chance = np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE)
        cost = -float(np.where(self._made, np.log(chance), np.log1p(-chance)).sum())
        return cost + sum(_disbelief(name, spreads[name]) for name in believed)

    def likeliest(
        self,
        spreads: Mapping[str, float],
        free: Mapping[str, tuple[float, float]],
        believed: Collection[str] = (),
    ) -> tuple[dict[str, float], float]:
        """The likeliest spreads with the free ones within their bounds, and their cost."""
        if not free:
            return dict(spreads), self._cost(spreads, believed)
        bounds = [(math.log(low), math.log(high)) for low, high in free.values()]
        first = [
            min(max(math.log(spreads[name]), low), high)
            for name, (low, high) in zip(free, bounds, strict=True)
        ]
        names = list(free)

        def cost(at: FloatArray) -> float:
            own = dict(zip(names, np.exp(at).tolist(), strict=True))
            return self._cost({**spreads, **own}, believed)

        found = minimize(cost, np.array(first), method="L-BFGS-B", bounds=bounds)
        values = {name: math.exp(at) for name, at in zip(free, found.x, strict=True)}
        return {**spreads, **values}, float(found.fun)

    def interval(self, name: str) -> tuple[float, float] | None:
        """Ends of the profile's 95 % interval; None where they are too far apart to be of use."""
        start = {n: STARTING[n].value for n in POT_SPREADS}
        best, cost = self.likeliest(start, _WIDEST, _beside(name))
        low, high = (self._end(name, best, cost, step) for step in (1 / _STEP, _STEP))
        if low is None or high is None or high > WIDEST_RATIO * low:
            return None
        return low, high

    def _end(self, name: str, best: Mapping[str, float], cost: float, step: float) -> float | None:
        """Where the profile has fallen by 1.92, walking from its best; None past a factor of 3."""
        beside = {n: _WIDEST[n] for n in _beside(name)}
        values, last = dict(best), 0.0
        while abs(math.log(values[name] / best[name])) <= math.log(WIDEST_RATIO):
            values, own = self.likeliest({**values, name: values[name] * step}, beside, beside)
            fallen = own - cost
            if fallen >= LINE_95 / 2:
                share = (LINE_95 / 2 - last) / (fallen - last)
                return float(values[name] * step ** (share - 1))
            last = fallen
        return None


def _beside(name: str) -> list[str]:
    return [other for other in POT_SPREADS if other != name]


def _disbelief(name: str, value: float) -> float:
    """Minus the log of a log-normal belief with 95 % in the setting's range."""
    own = STARTING[name]
    width = math.log(own.high / own.low) / _RANGE_SIGMAS
    middle = math.log(own.high * own.low) / 2
    return ((math.log(value) - middle) / width) ** 2 / 2


def fit_route_spreads(stops: Sequence[RouteStop]) -> tuple[Spread, Spread]:
    """Spread of the way's length as a share of it, and of its direction in degrees.

    Both about what was meant, so that a standing bias counts too.
    """
    used = [stop for stop in stops if stop.way_mm > 0]
    shares = np.array([stop.along_mm / stop.way_mm for stop in used])
    turns = np.degrees([math.atan2(stop.across_mm, stop.way_mm) for stop in used])
    return _about_zero(shares, "speed_spread"), _about_zero(turns, "line_spread_deg")


def _about_zero(values: FloatArray, name: str) -> Spread:
    """Root mean square with its 95 % interval; the starting value where there are too few."""
    count = len(values)
    root = float(np.sqrt(np.mean(np.square(values)))) if count else 0.0
    if count >= LEAST_SHOTS and root > 0:
        low, high = (root * math.sqrt(count / float(chi2.ppf(q, count))) for q in (0.975, 0.025))
        return Spread(value=root, low=low, high=high, count=count, fitted=True)
    return starting_spread(name, count)


def with_spreads(player: Player, spreads: Mapping[str, Spread]) -> Player:
    """The player with the spreads that are fitted; the others stay as they are."""
    fitted = {name: spread.value for name, spread in spreads.items() if spread.fitted}
    measured = tuple(dict.fromkeys((*player.measured, *fitted)))
    return Player.from_dict({**player.to_dict(), **fitted, "measured": measured})
