"""Where a potted ball probably went: the pockets it could be sent to, by their chances."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from calibration.table import POCKET_NAMES, PointMm, Table
from service.position import Intent, Player
from service.position.geometry import nearest_on_segment
from service.position.verdict.value import chance_by_pocket
from service.position.zone.membership import leave_of

from .compare import Change
from .outcome import Potted
from .seen import Seen

INTENDED = 30.0
"""A pot goes into the pocket that was meant so many times as often as into another as easy."""
BY_ANOTHER = 0.05
"""A ball is sent by another ball so much more seldom than by the cue ball itself."""
ANY_WAY = 1e-4
"""What is left for a pocket that no clear way leads to: rails, kisses, luck."""
IN_JAWS_MM = 150.0
JAWS = 3.0
"""A ball that dropped out of a pocket's jaws was sent there by one that came so much likelier that
way."""
_TRACK_NEAR_MM = 75.0
_HAND = Player(aim_spread_deg=1.0, bridge_back_mm=5000.0, hand_back_mm=5000.0)
"""A middling shot anywhere on the table."""


def likely_pockets(
    change: Change, balls: tuple[str, ...], table: Table, intent: Intent | None, seen: Seen | None
) -> tuple[Potted, ...]:
    """The likeliest pocket of every potted ball, with its share among the six."""
    places = {ball.id: ball.centre_mm for ball in change.before.balls}
    return tuple(_likely(ball, change, places, table, intent, seen) for ball in balls)


def _likely(
    ball: str,
    change: Change,
    places: Mapping[str, PointMm],
    table: Table,
    intent: Intent | None,
    seen: Seen | None,
) -> Potted:
    weights = dict.fromkeys(POCKET_NAMES, ANY_WAY)
    movers = {"cue", *change.moved, *change.gone} - {ball}
    for striker in movers & set(places):
        factor = 1.0 if striker == "cue" else BY_ANOTHER
        for pocket, chance in _chances(ball, striker, movers, places, table).items():
            weights[pocket] += factor * chance
    others = [places[name] for name in change.gone if name not in ("cue", ball)]
    for pocket in weights:
        aim = table.pocket(pocket).aim_mm
        weights[pocket] /= 1.0 + math.dist(places[ball], aim) / 500.0
        if any(math.dist(other, aim) < IN_JAWS_MM for other in others):
            weights[pocket] *= JAWS
    if intent is not None and intent.pot == ball and intent.pocket is not None:
        weights[intent.pocket] *= INTENDED
    sent = _sent_deg(places[ball], seen)
    if sent is not None:
        for pocket in weights:
            weights[pocket] *= _aligned(sent, places[ball], table.pocket(pocket).aim_mm)
    best = max(weights, key=lambda pocket: weights[pocket])
    return Potted(ball=ball, pocket=best, share=weights[best] / sum(weights.values()))


def _chances(
    ball: str, striker: str, movers: set[str], places: Mapping[str, PointMm], table: Table
) -> dict[str, float]:
    """Chance of sending the ball into each pocket with another; what moved is in nobody's way."""
    there = {name: at for name, at in places.items() if name == ball or name not in movers}
    leave = leave_of(Intent(next=ball, reach="any"), table, _HAND, there)
    if leave is None:
        return {}
    found = chance_by_pocket(np.asarray(places[striker]), leave)
    return {pocket: float(chance) for pocket, chance in found.items()}


def _sent_deg(ball_mm: PointMm, seen: Seen | None) -> float | None:
    """Direction in which the cue ball's track sent a ball: away from where it came nearest."""
    if seen is None or len(seen.cue_track_mm) < 2:
        return None
    track = np.asarray(seen.cue_track_mm, dtype=np.float64)
    share, near = nearest_on_segment(np.asarray(ball_mm), track[:-1], track[1:])
    hits = np.flatnonzero(near <= _TRACK_NEAR_MM)
    if hits.size == 0:
        return None
    i = int(hits[0])
    contact = track[i] + share[i] * (track[i + 1] - track[i])
    return math.degrees(math.atan2(ball_mm[1] - contact[1], ball_mm[0] - contact[0]))


def _aligned(sent_deg: float, ball_mm: PointMm, aim_mm: PointMm) -> float:
    way = math.degrees(math.atan2(aim_mm[1] - ball_mm[1], aim_mm[0] - ball_mm[0]))
    off = abs((way - sent_deg + 180.0) % 360.0 - 180.0)
    return math.exp(-0.5 * (off / 15.0) ** 2) + 1e-3
