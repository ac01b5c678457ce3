"""From scored attempts to what a player's spreads are fitted from."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calibration.table import PointMm, Table
from service.position.meant.player import Player
from service.position.verdict.arrival import (
    across_mm,
    along_mm,
    cut_range_deg,
    leads_to,
    start_mm,
    way_mm,
)
from service.position.verdict.score import Verdict
from vision.layout import Layout

from .polyline import Polyline
from .spread import (
    AimedShot,
    RouteStop,
    Spread,
    aimed_shot,
    fit_pot_spreads,
    fit_route_spreads,
    with_spreads,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A player with the spreads that the record bears out, and each spread with its interval."""

    player: Player
    aim: Spread
    """Degrees."""
    contact: Spread
    """Millimetres."""
    throw: Spread
    """Degrees."""
    speed: Spread
    """Share of the way."""
    line: Spread
    """Degrees."""

    def to_dict(self) -> dict[str, object]:
        """The spreads with their intervals, as the player's file keeps them."""
        return {
            "aim_spread_deg": self.aim.to_dict(),
            "contact_error_mm": self.contact.to_dict(),
            "throw_spread_deg": self.throw.to_dict(),
            "speed_spread": self.speed.to_dict(),
            "line_spread_deg": self.line.to_dict(),
        }


def fit_player(attempts: Iterable[tuple[Layout, Verdict]], table: Table, player: Player) -> Fitted:
    """Fit the spreads from (layout before the shot, verdict) pairs.

    Aim, contact and throw: every attempt with a named ball and pocket, made or missed. Speed and
    line: attempts whose pot was made, for a missed pot sends the cue ball elsewhere.
    """
    shots: list[AimedShot] = []
    stops: list[RouteStop] = []
    for before, verdict in attempts:
        if verdict.intent is None:
            continue
        made = bool(verdict.pot_made)
        shot = aimed_shot(before, verdict.intent, table, player, made=made)
        if shot is not None:
            shots.append(shot)
        stop = route_stop(before, verdict, table)
        if stop is not None and verdict.pot_made is not False:
            stops.append(stop)
    pots = fit_pot_spreads(shots, player)
    speed, line = fit_route_spreads(stops)
    routes = {"speed_spread": speed, "line_spread_deg": line}
    return Fitted(
        player=with_spreads(player, pots | routes),
        aim=pots["aim_spread_deg"],
        contact=pots["contact_error_mm"],
        throw=pots["throw_spread_deg"],
        speed=speed,
        line=line,
    )


def route_stop(before: Layout, verdict: Verdict, table: Table) -> RouteStop | None:
    """The stop against where it was meant to be: the route's end, or the zone's wanted spot.

    Without a route only where the cut played leads straight to the wanted spot: else the way was
    another, and its length and direction are not known.
    """
    intent, stop, zone = verdict.intent, verdict.cue_stop_mm, verdict.zone
    if intent is None or stop is None or zone is None:
        return None
    line: tuple[PointMm, PointMm] | None
    if intent.route_mm is not None:
        line = (intent.route_mm[-2], intent.route_mm[-1])
        way = Polyline.of(intent.route_mm, table).way_mm
    else:
        start, ways = start_mm(before, intent, table), cut_range_deg(before, intent, table)
        if start is None or ways is None or zone.wanted_mm is None:
            return None
        if not leads_to(ways, start, zone.wanted_mm):
            return None
        line, way = way_mm(start, zone.wanted_mm), math.dist(start, zone.wanted_mm)
    if line is None:
        return None
    off = np.asarray(stop) - np.asarray(line[1])
    vector = (float(off[0]), float(off[1]))
    return RouteStop(way_mm=way, along_mm=along_mm(vector, line), across_mm=across_mm(vector, line))
