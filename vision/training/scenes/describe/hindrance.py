"""What obstructs a still, drawn from a generator: an arm, a leaning player, a cue over the bed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.table import BALL_RADIUS_MM, Table
from vision.training.scenes.looks import PlacedBall, Thing
from vision.training.scenes.over.arm import draw_reach
from vision.training.scenes.over.things import CUE_LENGTH_MM

OVER_BED = ("arm", "leaner", "cue")
"""Kinds of things that can obstruct a still."""
SHARES = {"arm": 0.28, "short arm": 0.22, "leaner": 0.28, "cue": 0.22}
TRAINING_SHARES = {"arm": 0.2, "short arm": 0.32, "leaner": 0.16, "cue": 0.16, "cue tip": 0.16}
"""What is hard to notice comes more often than it does at a table."""
SHORT_REACH_MM = (60.0, 150.0)
"""How far the finger tips of a hand on the rail reach over the nose line."""
FINGER_MM = 113.0
CUE_GAP_MM = BALL_RADIUS_MM + 18.0
TIP_OVER_MM = (30.0, 200.0)
"""How far the tip of a cue that rests on the rail stands over the bed."""
_SHAFT_MM = 9.0
"""Middle of a shaft that lies on the rail, above the rail."""
_LIFT_MM = 62.0
_UNDER_HAND_MM = 190.0


def draw_hindrance(
    rng: np.random.Generator, table: Table, balls: Sequence[PlacedBall],
    shares: Mapping[str, float] = SHARES,
) -> Thing:  # fmt: skip
    """One thing that reaches over the bed, by the stated shares."""
    kind = str(rng.choice(list(shares), p=list(shares.values())))
    seed = int(rng.integers(2**31))
    if kind == "cue":
        return _cue_over_bed(rng, table, balls, seed)
    if kind == "cue tip":
        return _cue_tip(rng, table, balls, seed)
    if kind == "short arm":
        return _short_arm(rng, table, seed)
    if kind == "leaner":
        x, y, turn = _from_edge(rng, table, float(rng.uniform(330, 900)), 16.0)
    else:
        x, y, turn = draw_reach(rng, table.length_mm, table.width_mm)
    near = any(math.hypot(b.x_mm - x, b.y_mm - y) < _UNDER_HAND_MM for b in balls)
    return Thing(
        kind=kind, x_mm=x, y_mm=y, z_mm=_LIFT_MM if near else 0.0, turn_deg=turn, seed=seed
    )


def _short_arm(rng: np.random.Generator, table: Table, seed: int) -> Thing:
    """A hand that lies on the rail, its fingers just over the bed."""
    inward = float(rng.uniform(*SHORT_REACH_MM)) - FINGER_MM
    x, y, turn = _from_edge(rng, table, inward, 10.0)
    return Thing(
        kind="arm", x_mm=x, y_mm=y, z_mm=table.rail_cap_height_mm, turn_deg=turn, seed=seed
    )


def _from_edge(
    rng: np.random.Generator, table: Table, inward_mm: float, spread_deg: float
) -> tuple[float, float, float]:
    """A place ``inward_mm`` inside a nose line, anywhere along it, and the turn inward."""
    length, width = table.surface_mm
    edge = int(rng.integers(4))
    along = float(rng.uniform(0.1, 0.9))
    x, y = along * length, along * width
    places = (
        (x, inward_mm, 90.0),
        (x, width - inward_mm, -90.0),
        (inward_mm, y, 0.0),
        (length - inward_mm, y, 180.0),
    )
    x, y, turn = places[edge]
    return x, y, turn + float(rng.normal(0, spread_deg))


def _cue_over_bed(
    rng: np.random.Generator, table: Table, balls: Sequence[PlacedBall], seed: int
) -> Thing:
    """A cue left on the bed, resting on a nose with its tip on the bed, or held in the air."""
    style = rng.random()
    for _ in range(40):
        thing = _flat_cue(rng, table, seed) if style < 0.3 else _slanting_cue(rng, table, seed)
        if _clear_of_balls(thing, balls):
            return thing
    return _slanting_cue(rng, table, seed, lift_mm=float(rng.uniform(90, 260)))


def _flat_cue(rng: np.random.Generator, table: Table, seed: int) -> Thing:
    """Wholly on the bed, its thick end lying on the cloth."""
    length, width = table.surface_mm
    turn = float(rng.uniform(0, 360))
    dx, dy = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    for _ in range(60):
        x, y = float(rng.uniform(60, length - 60)), float(rng.uniform(60, width - 60))
        ex, ey = x + CUE_LENGTH_MM * dx, y + CUE_LENGTH_MM * dy
        if 20 < ex < length - 20 and 20 < ey < width - 20:
            return Thing(kind="cue", x_mm=x, y_mm=y, z_mm=15.0, turn_deg=turn, lean_deg=-0.32,
                         seed=seed)  # fmt: skip
        if abs(dy) > 0.7:
            turn *= 0.5
            dx, dy = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    return _slanting_cue(rng, table, seed)


def _slanting_cue(rng: np.random.Generator, table: Table, seed: int, lift_mm: float = 0.0) -> Thing:
    """Over a nose line, tip inside; ``lift_mm`` holds the whole cue in the air."""
    inside = float(rng.uniform(90, 850))
    x, y, turn = _from_edge(rng, table, inside, 22.0)
    tip_mm = 7.0 + lift_mm
    over_nose_mm = table.rail_cap_height_mm + 14.0 + lift_mm
    lean = -math.degrees(math.asin(min((over_nose_mm - tip_mm) / inside, 0.5)))
    along = CUE_LENGTH_MM * math.cos(math.radians(lean))
    return Thing(
        kind="cue",
        x_mm=x - along * math.cos(math.radians(turn)),
        y_mm=y - along * math.sin(math.radians(turn)),
        z_mm=tip_mm - CUE_LENGTH_MM * math.sin(math.radians(lean)),
        turn_deg=turn, lean_deg=lean, seed=seed,
    )  # fmt: skip


def _cue_tip(
    rng: np.random.Generator, table: Table, balls: Sequence[PlacedBall], seed: int
) -> Thing:
    """A cue that rests on the rail, level or its butt held higher, its bare tip over the bed."""
    for _ in range(40):
        thing = _resting_cue(rng, table, seed)
        if _clear_of_balls(thing, balls):
            return thing
    return _resting_cue(rng, table, seed, lift_mm=float(rng.uniform(40, 90)))


def _resting_cue(rng: np.random.Generator, table: Table, seed: int, lift_mm: float = 0.0) -> Thing:
    """On the rail with its tip some way over the nose; ``lift_mm`` holds it above the rail."""
    inside = float(rng.uniform(*TIP_OVER_MM))
    x, y, turn = _from_edge(rng, table, inside, 25.0)
    fall_deg = float(rng.uniform(0.3, 6.0))
    tip_mm = table.rail_cap_height_mm + _SHAFT_MM + lift_mm
    along = CUE_LENGTH_MM * math.cos(math.radians(fall_deg))
    return Thing(
        kind="cue",
        x_mm=x - along * math.cos(math.radians(turn)),
        y_mm=y - along * math.sin(math.radians(turn)),
        z_mm=tip_mm + CUE_LENGTH_MM * math.sin(math.radians(fall_deg)),
        turn_deg=turn, lean_deg=-fall_deg, seed=seed,
    )  # fmt: skip


def _clear_of_balls(thing: Thing, balls: Sequence[PlacedBall]) -> bool:
    """Whether the cue, seen from above, passes all balls."""
    turn = math.radians(thing.turn_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    reach = CUE_LENGTH_MM * math.cos(math.radians(thing.lean_deg))
    for ball in balls:
        offset = np.array([ball.x_mm - thing.x_mm, ball.y_mm - thing.y_mm])
        t = float(np.clip(offset @ along, 0, reach))
        if float(np.linalg.norm(offset - t * along)) < CUE_GAP_MM:
            return False
    return True
