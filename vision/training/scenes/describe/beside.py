"""What lies on the rails or stands beside the table and obstructs nothing."""

from __future__ import annotations

import numpy as np

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.looks import LampLook, Thing
from vision.training.scenes.over.covered import in_picture, may_cover_bed
from vision.training.scenes.over.people import RAIL_HAND_MM, limbs_of, pose_of
from vision.training.scenes.paint.lamps import FLOOR_MM

ON_RAIL = {"rack": 0.18, "bag": 0.2, "jacket": 0.16, "towel": 0.14, "phone": 0.16, "paper": 0.16}
"""Kinds on the rails by share."""
_INWARD = ((0.0, 1.0), (0.0, -1.0), (1.0, 0.0), (-1.0, 0.0))
"""Directions to the bed from the lower, upper, head and foot rail."""
_DEPTH_MM = {"rack": 118.0, "bag": 118.0, "jacket": 150.0, "towel": 150.0, "phone": 95.0,
             "paper": 103.0}  # fmt: skip
"""How far outside the nose line a thing's middle lies: nothing of it reaches the bed."""
TRIES = 14


def _by_side(
    table: Table, side: int, along: float, outside_mm: float
) -> tuple[float, float, float]:
    """A place outside a nose line, and the direction from it to the bed, degrees."""
    length, width = table.surface_mm
    dx, dy = _INWARD[side]
    x = along * length if dx == 0 else (-outside_mm if dx > 0 else length + outside_mm)
    y = along * width if dy == 0 else (-outside_mm if dy > 0 else width + outside_mm)
    return x, y, float(np.degrees(np.arctan2(dy, dx)))


def draw_on_rail(rng: np.random.Generator, table: Table) -> Thing:
    """One thing that rests on a rail, clear of the bed and the side pockets' openings."""
    kind = str(rng.choice(list(ON_RAIL), p=list(ON_RAIL.values())))
    side = int(rng.integers(4))
    along = float(rng.choice([rng.uniform(0.16, 0.36), rng.uniform(0.64, 0.84)]))
    x, y, turn = _by_side(table, side, along, _DEPTH_MM[kind])
    # a rack's flat side looks to the bed; the rest lies along the rail, a little askew
    askew = 180.0 if kind == "rack" else 90.0 + float(rng.normal(0, 4))
    return Thing(
        kind=kind, x_mm=x, y_mm=y, z_mm=table.rail_cap_height_mm, turn_deg=turn + askew,
        seed=int(rng.integers(2**31)),
    )  # fmt: skip


def draw_player(
    rng: np.random.Generator, table: Table, camera: Camera, lamps: tuple[LampLook, ...]
) -> Thing | None:
    """Somebody who stands beside the table, in view but over no part of the bed.

    None where no such place was found. Half the time the player stands between bed and window,
    if there is one, so that a shadow falls on the bed.
    """
    window = next((lamp for lamp in lamps if lamp.kind in ("window", "hall-panels")), None)
    lit = None if window is None or rng.random() < 0.5 else int(window.turn >= 0.5)
    for _ in range(TRIES):
        side = int(rng.integers(4)) if lit is None else lit
        thing = _standing(rng, table, side)
        limbs = limbs_of(thing)
        if in_picture(limbs, camera) and not may_cover_bed(limbs, camera, table):
            return thing
    return None


def _standing(rng: np.random.Generator, table: Table, side: int) -> Thing:
    """A player at one side, looking roughly at the table."""
    seed = int(rng.integers(2**31))
    thing = Thing(kind="player", x_mm=0.0, y_mm=0.0, seed=seed)
    if pose_of(thing) == "rail":
        outside = RAIL_HAND_MM + float(rng.uniform(85, table.rail_width_mm - 40))
        askew = float(rng.normal(0, 5))
    else:
        outside = table.rail_width_mm + float(rng.uniform(190, 480))
        askew = float(rng.normal(0, 30))
    along = float(rng.uniform(-0.05, 1.05))
    x, y, turn = _by_side(table, side, along, outside)
    return Thing(kind="player", x_mm=x, y_mm=y, turn_deg=turn + askew, seed=seed)


def draw_on_floor(rng: np.random.Generator, table: Table) -> Thing:
    """A bag that stands on the floor beside the table."""
    outside = table.rail_width_mm + float(rng.uniform(120, 330))
    x, y, turn = _by_side(table, int(rng.integers(4)), float(rng.uniform(0, 1)), outside)
    return Thing(
        kind="bag", x_mm=x, y_mm=y, z_mm=FLOOR_MM, turn_deg=turn + float(rng.uniform(0, 180)),
        seed=int(rng.integers(2**31)),
    )  # fmt: skip
