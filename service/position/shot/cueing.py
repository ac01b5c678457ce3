"""How steeply the cue must be held: over the cushion behind the cue ball, or over a ball.

For a hit in the middle of the cue ball. The shaft must pass the nose, the rail cap's inner edge
and every ball behind the cue ball by its radius. A cue that lies level on the nose of a frozen
ball's cushion strikes ``level_tip_mm`` above the centre, about half the radius, which is where
miscues begin; a lower hit needs the elevation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.table import BALL_CENTRE_HEIGHT_MM, BALL_RADIUS_MM, PointMm, Table
from service.position.meant.player import Player

from .reach import OUTWARD, rail_distances_mm

CUSHION = "cushion"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cueing:
    """The least elevation of the cue for a hit in the middle, and what asks for it."""

    elevation_deg: float
    by: str | None
    """``cushion``, the name of a ball, or None where the rail far behind is all there is."""
    steep: bool
    """More than the player is content with."""


def cueing(
    cue_mm: PointMm,
    target_mm: PointMm,
    others_mm: Sequence[PointMm],
    names: Sequence[str],
    table: Table,
    player: Player,
) -> Cueing:
    """The elevation for a shot from ``cue_mm`` at ``target_mm`` (the ghost ball)."""
    back = np.asarray(cue_mm) - np.asarray(target_mm)
    size = float(np.hypot(*back))
    if size == 0:
        return Cueing(elevation_deg=0.0, by=None, steep=False)
    back = back / size
    needed = [(over_cushion_deg(cue_mm, (float(back[0]), float(back[1])), table, player), CUSHION)]
    for ball, name in zip(others_mm, names, strict=True):
        way = np.asarray(ball) - np.asarray(cue_mm)
        behind, beside = float(way @ back), float(back[0] * way[1] - back[1] * way[0])
        needed.append((_over_ball_deg(behind, beside, player), name))
    elevation, by = max(needed, key=lambda found: found[0])
    steep = elevation > player.elevation_limit_deg
    return Cueing(elevation_deg=elevation, by=by if steep or by != CUSHION else None, steep=steep)


def over_cushion_deg(cue_mm: PointMm, back: PointMm, table: Table, player: Player) -> float:
    """Elevation that clears nose and rail cap behind the cue ball.

    ``back``: unit vector from the cue ball backwards along the cue. Pocket mouths, where there
    is no nose, are not told apart: the figure is then too careful.
    """
    gaps = rail_distances_mm(cue_mm, table)
    towards = OUTWARD @ np.asarray(back)
    ways = [
        (max(float(gap), 0.0) / float(share), float(share))
        for gap, share in zip(gaps, towards, strict=True)
        if share > 1e-9
    ]
    way, share = min(ways)
    edges = (
        (way, table.nose_height_mm),
        (way + table.cushion_width_mm / share, table.rail_cap_height_mm),
    )
    return max(_clear_edge_deg(gap, height, player) for gap, height in edges)


def level_tip_mm(table: Table, player: Player) -> float:
    """How far above the cue ball's centre a cue that lies level on the nose strikes."""
    return table.nose_height_mm + player.shaft_radius_mm - BALL_CENTRE_HEIGHT_MM


def _clear_edge_deg(gap_mm: float, height_mm: float, player: Player) -> float:
    """Elevation whose axis passes an edge by the shaft's radius, from the centre's height."""
    rise = height_mm - BALL_CENTRE_HEIGHT_MM
    apart = max(math.hypot(gap_mm, rise), player.shaft_radius_mm)
    turn = math.atan2(rise, gap_mm) + math.asin(player.shaft_radius_mm / apart)
    return max(math.degrees(turn), 0.0)


def _over_ball_deg(behind_mm: float, beside_mm: float, player: Player) -> float:
    """Elevation that clears a ball so far behind the cue ball and beside the line."""
    clear = BALL_RADIUS_MM + player.shaft_radius_mm
    if behind_mm <= 0 or abs(beside_mm) >= clear:
        return 0.0
    rise = math.sqrt(clear**2 - beside_mm**2)
    return math.degrees(math.asin(min(1.0, rise / behind_mm)))
