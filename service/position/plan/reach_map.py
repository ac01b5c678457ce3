"""A player's reach learned from cue balls that he put where he can just still play them.

One layout a place: the cue ball, and at most one other ball, at which it would be played full.
Without one it would be played square away from the nearest nose. The player stands where he
reaches best, so one of the four nose lines is just reached there and no other is: the settings
are those whose greatest span (``reach.stretch_mm``) ends at a nose in every layout. Shots across
the table tell the reach straight back, shots along it the sides. Where a place could be told by
two of them the one that changes least is taken, unless ``side`` says which was tried. What no
layout tells keeps its value and stays assumed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from calibration.arrays import FloatArray
from calibration.table import PointMm, Table
from service.position.errors import PlayerError
from service.position.geometry import left_of
from service.position.meant.player import Player
from service.position.meant.settings import STARTING
from service.position.shot.reach import OUTWARD, rail_distances_mm
from vision.layout import Layout

SIDES = ("back_mm", "body_side_mm", "off_side_mm")
TELLS = 0.3
"""A side is mapped where a layout's span grows by this share of a growth of that side: a sum of
squares, so a span that is mostly of the other side says nearly nothing of this one."""
_LEAST_MM = 50.0
_MOST = 1.2
"""Nobody reaches farther than the believed range's end by this factor."""
_PULL = 1e-4
AGREES = 0.10
"""Places that the fitted reach explains to this share agree with each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReachMap:
    """What a number of just reachable places tell."""

    player: Player
    """With the reach that they tell."""
    mapped: tuple[str, ...]
    """Settings that they tell, by the names of ``Player``."""
    assumed: tuple[str, ...]
    """Settings of the same kind that nobody gave or mapped."""
    residuals_mm: tuple[float, ...]
    """For every place how much farther than the nose line the fitted reach ends, − short of it."""

    def to_dict(self) -> dict[str, object]:
        """Plain JSON object."""
        return {
            "mapped": {name: getattr(self.player, name) for name in self.mapped},
            "assumed": list(self.assumed),
            "residuals_mm": list(self.residuals_mm),
        }


def learned_reach(
    layouts: Sequence[Layout],
    table: Table,
    player: Player,
    *,
    bridge: bool = False,
    side: str | None = None,
) -> ReachMap:
    """The reach, by hand or with the mechanical bridge, from just reachable places.

    ``side``: ``back``, ``body_side`` or ``off_side`` where the places show that one alone.

    Raises ``PlayerError`` (code ``reach-places``) where a layout shows no such place, or where
    the places contradict each other by more than a tenth.
    """
    kind = "bridge" if bridge else "hand"
    places = [_place(layout, table, player, side) for layout in layouts]
    if not places:
        raise PlayerError(
            "reach: got no still; allowed: one or more, each with the cue ball where it can just "
            "still be played. Take one.",
            code="reach-places",
        )
    if side is not None and f"{side}_mm" not in SIDES:
        raise PlayerError(
            f"side: got {side!r}; allowed: back, body_side, off_side. Name one, or none."
        )
    own = np.array([float(getattr(player, f"{kind}_{name}")) for name in SIDES])
    free = [i for i, name in enumerate(SIDES) if side is None or name == f"{side}_mm"]
    most = [_MOST * STARTING[f"{kind}_{name}"].high for name in SIDES]
    reach_mm, slopes = _fitted(places, own, most, free, player)
    spans = np.array([_span(place, reach_mm, player) for place in places])
    _check_agreement(spans, layouts)
    told = slopes >= TELLS
    mapped = {
        f"{kind}_{name}": round(float(at), 1)
        for name, at, tells in zip(SIDES, reach_mm, told, strict=True) if tells
    }  # fmt: skip
    found = _with_reach(player, mapped)
    return ReachMap(
        player=found,
        mapped=tuple(mapped),
        assumed=tuple(found.assumed([f"{kind}_{name}" for name in SIDES])),
        residuals_mm=tuple(
            float((span - 1) * _gap_mm(place, reach_mm, player))
            for span, place in zip(spans, places, strict=True)
        ),
    )


def _fitted(
    places: Sequence[_Place],
    own_mm: FloatArray,
    most_mm: Sequence[float],
    free: Sequence[int],
    player: Player,
) -> tuple[FloatArray, FloatArray]:
    """The reach (3,) that explains the places, and how much each side counts in any of them (3,).

    From several starts, for the place where the player stands is a choice between four.
    """

    def reach_of(at: FloatArray) -> FloatArray:
        out = np.log(own_mm)
        out[list(free)] = at
        return np.asarray(np.exp(out))

    def off(at: FloatArray) -> FloatArray:
        spans = [math.log(_span(place, reach_of(at), player)) for place in places]
        # what nothing tells stays: a pull too weak to move what something does
        return np.array([*spans, *(_PULL * (at - np.log(own_mm)[list(free)]))])

    low = np.log([_LEAST_MM for _ in free])
    high = np.log([most_mm[i] for i in free])
    first = np.clip(np.log(own_mm[list(free)]), low + 1e-6, high - 1e-6)
    fits = [
        least_squares(off, np.clip(first + shift, low + 1e-6, high - 1e-6), bounds=(low, high))
        for shift in itertools.product((-0.4, 0.0, 0.4), repeat=len(free))
    ]
    best = min(fits, key=lambda fit: float(fit.cost))
    slopes = np.zeros(len(SIDES))
    slopes[list(free)] = np.abs(np.asarray(best.jac)[: len(places)]).max(axis=0)
    return reach_of(best.x), slopes


@dataclass(frozen=True, slots=True)
class _Place:
    gaps_mm: FloatArray
    """From the cue ball to the four nose lines."""
    back: FloatArray
    """Unit vector backwards along the cue."""
    rails: tuple[int, ...] = (0, 1, 2, 3)
    """The nose lines, in ``OUTWARD``'s order, from behind which the player may have stood."""


def _place(layout: Layout, table: Table, player: Player, side: str | None) -> _Place:
    cue = layout.ball("cue")
    others = [ball for ball in layout.balls if ball.id != "cue"]
    if layout.obstructed or cue is None or len(others) > 1:
        there = ", ".join(ball.id for ball in layout.balls) or "no ball"
        raise PlayerError(
            f"{layout.still or 'unnamed still'}: got {there}"
            f"{', obstructed' if layout.obstructed else ''}; allowed: the cue ball, and at most "
            "one ball that it would be played at. Clear the table and take the still again.",
            code="reach-places",
        )
    gaps = rail_distances_mm(cue.centre_mm, table)
    nearest = OUTWARD[int(np.argmin(gaps))]
    back = _unit(cue.centre_mm, others[0].centre_mm) if others else nearest
    if side is None:
        return _Place(gaps, back)
    towards = {"back": back, "body_side": _body(back, player), "off_side": -_body(back, player)}
    return _Place(gaps, back, (int(np.argmax(OUTWARD @ towards[side])),))


def _body(back: FloatArray, player: Player) -> FloatArray:
    """The direction in which the body is, seen along the cue."""
    return left_of(back) * (-1.0 if player.handedness == "right" else 1.0)


def _unit(place_mm: PointMm, target_mm: PointMm) -> FloatArray:
    back = np.asarray(place_mm) - np.asarray(target_mm)
    return np.asarray(back / np.hypot(*back))


def _spans(place: _Place, reach_mm: FloatArray, player: Player) -> FloatArray:
    """What the player reaches towards each nose line over what it takes, (4,)."""
    back_mm, body_mm, off_mm = reach_mm
    behind = np.maximum(OUTWARD @ place.back, 0.0)
    beside = OUTWARD @ _body(place.back, player)
    aside = np.where(beside >= 0, body_mm, off_mm) * np.abs(beside)
    spans = np.hypot(back_mm * behind, aside) / np.maximum(place.gaps_mm, 1.0)
    return np.asarray(spans[list(place.rails)])


def _span(place: _Place, reach_mm: FloatArray, player: Player) -> float:
    """The same towards the nose line that is reached best; 1 where it is just reached."""
    return max(float(_spans(place, reach_mm, player).max()), 1e-6)


def _gap_mm(place: _Place, reach_mm: FloatArray, player: Player) -> float:
    return float(place.gaps_mm[place.rails[int(_spans(place, reach_mm, player).argmax())]])


def _check_agreement(spans: FloatArray, layouts: Sequence[Layout]) -> None:
    off = np.abs(np.log(spans))
    worst = int(off.argmax())
    if off[worst] > math.log(1 + AGREES):
        raise PlayerError(
            f"{layouts[worst].still or 'unnamed still'}: got a place that the others put "
            f"{100 * abs(spans[worst] - 1):.0f} % off the edge of the reach; allowed: "
            f"{100 * AGREES:.0f} %. Was the ball played at in it where it lies, and could the cue "
            "ball just still be played? Take it again, or leave it out.",
            code="reach-places",
        )


def _with_reach(player: Player, mapped: dict[str, float]) -> Player:
    """The player with what was mapped; a bridge never shortens the reach, so it follows."""
    own = player.to_dict() | mapped
    for side in SIDES:
        hand, bridge = f"hand_{side}", f"bridge_{side}"
        if own[bridge] < own[hand]:
            # the mapped one of the two is the one that is known
            follows, leads = (bridge, hand) if hand in mapped else (hand, bridge)
            own[follows] = own[leads]
    known = (*player.measured, *mapped)
    own["measured"] = [name for name in STARTING if name in known]
    return Player.from_dict(own)
