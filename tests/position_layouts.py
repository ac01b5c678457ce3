"""Random layouts and intents for the tests of position, and a rule of their own for the zone.

``truly_belongs`` is written apart from the product: plain numbers, other formulas (law of
cosines, a cue in space, the player's span as points), so that agreement means something.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.table import PointMm, Table
from service.position import Intent, Player
from vision.layout import Ball, Cov, Layout

D = 57.15
SURFACES = ("9ft", "pro8", "8ft", "7ft")
POCKETS = ("head-left", "head-right", "side-left", "side-right", "foot-left", "foot-right")


def layout(
    table: Table, places_mm: dict[str, PointMm], *, cov_mm2: Cov = ((0.0, 0.0), (0.0, 0.0))
) -> Layout:
    """A settled layout of these balls, each with the same covariance."""
    return Layout(
        still="test",
        surface_mm=table.surface_mm,
        balls=tuple(
            Ball(id=name, x_mm=float(x), y_mm=float(y), cov_mm2=cov_mm2)
            for name, (x, y) in places_mm.items()
        ),
    )


def random_places(rng: np.random.Generator, table: Table, count: int) -> dict[str, PointMm]:
    """``count`` object balls that do not overlap; about a third huddle near another ball."""
    placed: list[np.ndarray] = []
    low = np.array([28.0, 28.0])
    high = np.array(table.surface_mm) - 28.0
    while len(placed) < count:
        if placed and rng.random() < 0.35:
            angle = rng.uniform(0, 2 * math.pi)
            turn = np.array([math.cos(angle), math.sin(angle)])
            place = placed[rng.integers(len(placed))] + turn * rng.uniform(D + 0.01, 150)
        else:
            place = rng.uniform(low, high)
        if np.all(place >= low) and np.all(place <= high):
            apart = [math.dist(place, other) for other in placed]
            if min(apart, default=D) >= D:
                placed.append(place)
    return {str(i + 1): (float(p[0]), float(p[1])) for i, p in enumerate(placed)}


@dataclass(frozen=True)
class Case:
    """A layout with an intent on it."""

    table: Table
    player: Player
    intent: Intent
    places_mm: dict[str, PointMm]


def random_case(rng: np.random.Generator) -> Case:
    """A table, a player, a layout and an intent for the next ball ``1``."""
    table = Table.from_surface(str(rng.choice(SURFACES)))
    places = random_places(rng, table, int(rng.integers(1, 16)))
    low = float(rng.choice([0.0, rng.uniform(0, 50)]))
    near = float(rng.choice([0.0, rng.uniform(0, 500)]))
    far = float(rng.choice([math.inf, near + rng.uniform(200, 1500)]))
    intent = Intent(
        next="1",
        next_pocket=str(rng.choice(POCKETS)),
        cut_deg=(low, min(90.0, low + float(rng.uniform(10, 60)))),
        side=str(rng.choice(["left", "right", "either"])),
        distance_mm=(near, far),
        cushion_mm=float(rng.choice([0.0, rng.uniform(0, 200)])),
        reach=str(rng.choice(["hand", "bridge", "any"])),
        over_ball=str(rng.choice(["avoid", "any"])),
    )
    player = Player(
        handedness=str(rng.choice(["left", "right"])),
        hand_back_mm=float(rng.uniform(400, 1000)),
        bridge_back_mm=float(rng.uniform(1000, 1500)),
        hand_body_side_mm=float(rng.uniform(150, 350)),
        hand_off_side_mm=float(rng.uniform(80, 150)),
        bridge_body_side_mm=float(rng.uniform(350, 500)),
        bridge_off_side_mm=float(rng.uniform(150, 300)),
        elevation_limit_deg=float(rng.uniform(8, 40)),
    )
    return Case(table=table, player=player, intent=intent, places_mm=places)


def truly_belong(cue_mm: np.ndarray, case: Case, pocket_name: str | None = None) -> np.ndarray:
    """The zone's rule again, by other means, for places (N, 2), all as complex numbers.

    Places that fail one limit are not looked at for the next.
    """
    intent, table = case.intent, case.table
    target = complex(*case.places_mm["1"])
    others = np.array([complex(*p) for name, p in case.places_mm.items() if name != "1"])
    mouth = table.pocket(str(pocket_name or intent.next_pocket))
    ((ax, ay), (bx, by)) = mouth.nose_points_mm
    pocket = complex((ax + bx) / 2, (ay + by) / 2)
    line = (pocket - target) / abs(pocket - target)
    ghost = target - D * line
    out = np.zeros(len(cue_mm), dtype=bool)
    if not _within(np.array([ghost]), 24.5, table).all() or _near(others, target, pocket):
        return out
    alive = np.arange(len(cue_mm))
    places = cue_mm[:, 0] + 1j * cue_mm[:, 1]
    for passes in (
        lambda at: _fits_angles(at, ghost, line, case),
        lambda at: _within(at, max(27.5, intent.cushion_mm), table),
        lambda at: np.abs(at - target) >= D,
        lambda at: _ways_free(at, ghost, others),
        lambda at: intent.over_ball == "any" or ~_cue_meets(at, ghost, others, case.player),
        lambda at: intent.reach == "any" or _spans(at, ghost, case),
    ):
        alive = alive[np.broadcast_to(passes(places[alive]), alive.shape)]
    out[alive] = True
    return out


def truly_belongs(cue: PointMm, case: Case) -> bool:
    """The same for one place."""
    return bool(truly_belong(np.array([cue]), case)[0])


def _fits_angles(places: np.ndarray, ghost: complex, line: complex, case: Case) -> np.ndarray:
    # seen along the line to the pocket: real part ahead, imaginary part to the left
    seen = (places - ghost) / line
    apart = np.abs(seen)
    cut = np.degrees(np.arccos(np.clip(-seen.real / np.maximum(apart, 1e-9), -1.0, 1.0)))
    low, high = case.intent.cut_deg
    near, far = case.intent.distance_mm
    fits = (low <= cut) & (cut <= high) & (cut < 90) & (near <= apart) & (apart <= far)
    if case.intent.side == "left":
        fits &= seen.imag >= 0
    elif case.intent.side == "right":
        fits &= seen.imag <= 0
    return fits


def _within(places: np.ndarray, inset: float, table: Table) -> np.ndarray:
    return (
        (inset <= places.real)
        & (places.real <= table.length_mm - inset)
        & (inset <= places.imag)
        & (places.imag <= table.width_mm - inset)
    )


def _near(others: np.ndarray, start: complex, end: complex) -> bool:
    return bool(len(others)) and bool((_to_segment(others, start, np.array([end])) < D).any())


def _ways_free(places: np.ndarray, ghost: complex, others: np.ndarray) -> np.ndarray:
    if len(others) == 0:
        return np.ones(len(places), dtype=bool)
    return (_to_segment(others, ghost, places) >= D).all(axis=0)


def _to_segment(balls: np.ndarray, start: complex, ends: np.ndarray) -> np.ndarray:
    """By the triangle's sides: a foot beyond an end gives that end, else Heron's height."""
    a, c = np.abs(balls - start)[:, None], np.abs(ends - start)[None, :]
    b = np.abs(balls[:, None] - ends[None, :])
    half = (a + b + c) / 2
    heron = np.sqrt(np.maximum(half * (half - a) * (half - b) * (half - c), 0.0))
    height = 2 * heron / np.maximum(c, 1e-12)
    return np.where(a * a >= b * b + c * c, b, np.where(b * b >= a * a + c * c, a, height))


def _cue_meets(
    places: np.ndarray, ghost: complex, others: np.ndarray, player: Player
) -> np.ndarray:
    """A cue raised to the limit, as a line in space, passes too near a ball's centre."""
    rise = math.radians(player.elevation_limit_deg)
    back = (places - ghost) / np.maximum(np.abs(places - ghost), 1e-12)
    axis = np.stack(
        [
            back.real * math.cos(rise),
            back.imag * math.cos(rise),
            np.full(len(back), math.sin(rise)),
        ],
        axis=-1,
    )
    meets = np.zeros(len(places), dtype=bool)
    for ball in others:
        off = ball - places
        way = np.stack([off.real, off.imag, np.zeros(len(off))], axis=-1)
        apart = np.linalg.norm(np.cross(way, axis), axis=-1)
        meets |= ((way * axis).sum(axis=-1) > 0) & (apart < D / 2 + player.shaft_radius_mm)
    return meets


_TURNS = np.linspace(0, math.pi / 2, 181)


def _spans(places: np.ndarray, ghost: complex, case: Case) -> np.ndarray:
    """Whether any point that the player spans lies on or past a nose line."""
    player, table = case.player, case.table
    kind = "bridge" if case.intent.reach == "bridge" else "hand"
    back = ((places - ghost) / np.maximum(np.abs(places - ghost), 1e-12))[:, None]
    # looking back from the cue ball, a right-hander's body is to the right
    body = back * (-1j if player.handedness == "right" else 1j)
    spans = np.zeros(len(places), dtype=bool)
    for sideways, name in ((body, "body_side"), (-body, "off_side")):
        behind = getattr(player, f"{kind}_back_mm") * np.cos(_TURNS)
        aside = getattr(player, f"{kind}_{name}_mm") * np.sin(_TURNS)
        points = places[:, None] + behind * back + aside * sideways
        spans |= ~_strictly_within(points, table).all(axis=1)
    return spans


def _strictly_within(points: np.ndarray, table: Table) -> np.ndarray:
    return (
        (points.real > 0)
        & (points.real < table.length_mm)
        & (points.imag > 0)
        & (points.imag < table.width_mm)
    )
