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


def truly_belongs(cue: PointMm, case: Case) -> bool:
    """The zone's rule again, by other means, for one place."""
    intent, table = case.intent, case.table
    target = complex(*case.places_mm["1"])
    others = [complex(*p) for name, p in case.places_mm.items() if name != "1"]
    ((ax, ay), (bx, by)) = table.pocket(str(intent.next_pocket)).nose_points_mm
    pocket = complex((ax + bx) / 2, (ay + by) / 2)
    line = (pocket - target) / abs(pocket - target)
    ghost, place = target - D * line, complex(*cue)
    # seen along the line to the pocket: real part behind, imaginary part to the left
    seen = (place - ghost) / line
    apart = abs(seen)
    cut = math.degrees(math.acos(max(-1.0, min(1.0, -seen.real / apart))))
    low, high = intent.cut_deg
    if not (low <= cut <= high and cut < 90):
        return False
    if (intent.side == "left" and seen.imag < 0) or (intent.side == "right" and seen.imag > 0):
        return False
    if not intent.distance_mm[0] <= apart <= intent.distance_mm[1]:
        return False
    inset = max(27.5, intent.cushion_mm)
    if not _within(place, inset, table) or not _within(ghost, 24.5, table):
        return False
    if any(abs(place - ball) < D for ball in [target, *others]):
        return False
    for start, end in ((place, ghost), (target, pocket)):
        if any(_to_segment(ball, start, end) < D for ball in others):
            return False
    back = (place - ghost) / apart
    if intent.over_ball != "any" and any(
        _cue_meets(place, back, ball, case.player) for ball in others
    ):
        return False
    return intent.reach == "any" or _spans(place, back, intent.reach, case)


def _within(place: complex, inset: float, table: Table) -> bool:
    return (
        inset <= place.real <= table.length_mm - inset
        and inset <= place.imag <= table.width_mm - inset
    )


def _to_segment(ball: complex, start: complex, end: complex) -> float:
    """By the triangle's sides: a foot beyond an end gives that end, else Heron's height."""
    a, b, c = abs(ball - start), abs(ball - end), abs(end - start)
    if a * a >= b * b + c * c:
        return b
    if b * b >= a * a + c * c:
        return a
    half = (a + b + c) / 2
    return 2 * math.sqrt(max(half * (half - a) * (half - b) * (half - c), 0.0)) / c


def _cue_meets(place: complex, back: complex, ball: complex, player: Player) -> bool:
    """A cue raised to the limit, as a line in space, passes too near the ball's centre."""
    rise = math.radians(player.elevation_limit_deg)
    axis = np.array([back.real * math.cos(rise), back.imag * math.cos(rise), math.sin(rise)])
    way = np.array([ball.real - place.real, ball.imag - place.imag, 0.0])
    if way @ axis <= 0:
        return False
    return float(np.linalg.norm(np.cross(way, axis))) < D / 2 + player.shaft_radius_mm


_TURNS = np.linspace(0, math.pi / 2, 361)


def _spans(place: complex, back: complex, reach: str, case: Case) -> bool:
    """Whether any point that the player spans lies on or past a nose line."""
    player, table = case.player, case.table
    kind = "bridge" if reach == "bridge" else "hand"
    # looking back from the cue ball, a right-hander's body is to the right
    body = back * (-1j if player.handedness == "right" else 1j)
    for sideways, name in ((body, "body_side"), (-body, "off_side")):
        behind = getattr(player, f"{kind}_back_mm") * np.cos(_TURNS)
        aside = getattr(player, f"{kind}_{name}_mm") * np.sin(_TURNS)
        points = place + behind * back + aside * sideways
        inside = (
            (points.real > 0)
            & (points.real < table.length_mm)
            & (points.imag > 0)
            & (points.imag < table.width_mm)
        )
        if not inside.all():
            return True
    return False
