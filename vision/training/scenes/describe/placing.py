"""Where balls may lie and how layouts are drawn: no ball in another, in a cushion or in air."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Pocket, Table
from vision.training.scenes.looks import PlacedBall
from vision.training.scenes.values import FloatArray, SceneError

TOUCH_MM = BALL_DIAMETER_MM + 0.02
"""Centre distance of touching balls, a hair apart."""
EDGE_MM = 4.0
"""How far from the slate's cut a ball's base stays."""
FACING_MM = 60.0
"""How far a facing reaches from its nose point; more than any shelf is deep."""
ROUNDING_MM = 1e-6
Point = tuple[float, float]


def random_turn(rng: np.random.Generator) -> tuple[float, float, float, float]:
    """An even random rotation as a unit quaternion (w, x, y, z)."""
    q = rng.normal(size=4)
    w, x, y, z = q / np.linalg.norm(q)
    return (float(w), float(x), float(y), float(z))


def rotation(turn: Sequence[float]) -> FloatArray:
    """Rotation matrix (3, 3) of a unit quaternion."""
    w, x, y, z = turn
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def in_jaws(pocket: Pocket, centre_mm: Point) -> bool:
    """Whether a ball can rest there on the pocket's shelf, clear of facings and the drop."""
    first = np.asarray(pocket.nose_points_mm[0])
    last = np.asarray(pocket.nose_points_mm[1])
    inward, middle = np.asarray(pocket.inward), (first + last) / 2
    offset = np.asarray(centre_mm) - middle
    deep = float(offset @ inward)
    across = abs(float(offset @ np.array([-inward[1], inward[0]])))
    axis = 90.0 if pocket.name.startswith("side") else 45.0
    closing = math.radians(axis - (180.0 - pocket.cut_deg))
    room = pocket.mouth_mm / 2 - max(deep, 0) * math.tan(closing)
    fits = across <= room - FROZEN_INSET_MM / math.cos(closing)
    clear = min(math.dist(centre_mm, tuple(first)), math.dist(centre_mm, tuple(last)))
    return (
        -60 <= deep <= pocket.shelf_mm - EDGE_MM and (fits or deep < 0) and clear >= FROZEN_INSET_MM
    )


def clear_of_cushions(table: Table, centre_mm: Point) -> bool:
    """Whether a ball there lies on the bed's side of every nose and facing and cuts into none."""
    length, width = table.surface_mm
    on_bed = 0 <= centre_mm[0] <= length and 0 <= centre_mm[1] <= width
    if not on_bed and not any(_between_facings(p, centre_mm) for p in table.pockets):
        return False
    edges = [*table.nose_segments_mm.values(), *(f for p in table.pockets for f in _facings(p))]
    return all(_distance_mm(centre_mm, a, b) >= FROZEN_INSET_MM - ROUNDING_MM for a, b in edges)


def can_rest(table: Table, centre_mm: Point) -> bool:
    """Whether a ball can rest there: within the frozen inset, or in a pocket's jaws."""
    over_hole = any(
        np.dot(np.asarray(centre_mm) - p.aim_mm, p.inward) > p.shelf_mm - EDGE_MM
        and math.dist(centre_mm, p.aim_mm) < p.mouth_mm
        for p in table.pockets
    )
    if over_hole:
        return False
    if table.contains_ball(centre_mm):
        return True
    return clear_of_cushions(table, centre_mm) and any(in_jaws(p, centre_mm) for p in table.pockets)


def _between_facings(pocket: Pocket, centre_mm: Point) -> bool:
    """Beyond the mouth line or just before it, and no further aside than its nose points."""
    offset = np.asarray(centre_mm) - pocket.aim_mm
    inward = np.asarray(pocket.inward)
    across = abs(float(offset @ np.array([-inward[1], inward[0]])))
    return across <= pocket.mouth_mm / 2


def _facings(pocket: Pocket) -> list[tuple[Point, Point]]:
    """The two facings at nose height, from their nose points into the pocket."""
    axis = 90.0 if pocket.name.startswith("side") else 45.0
    closing = math.radians(axis - (180.0 - pocket.cut_deg))
    inward, middle = np.asarray(pocket.inward), np.asarray(pocket.aim_mm)
    lines = []
    for nose in pocket.nose_points_mm:
        aside = (middle - nose) / np.linalg.norm(middle - nose)
        end = np.asarray(nose) + FACING_MM * (
            math.cos(closing) * inward + math.sin(closing) * aside
        )
        lines.append((nose, (float(end[0]), float(end[1]))))
    return lines


def _distance_mm(point: Point, start: Point, end: Point) -> float:
    """Distance from a point to a segment."""
    p, a, b = np.asarray(point), np.asarray(start), np.asarray(end)
    share = float(np.clip((p - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1))
    return float(np.linalg.norm(p - a - share * (b - a)))


def clear_of(centre_mm: Point, others: Sequence[Point], gap_mm: float = TOUCH_MM) -> bool:
    """Whether a ball there keeps at least ``gap_mm`` from the other centres."""
    return all(math.dist(centre_mm, other) >= gap_mm for other in others)


def check_layout(table: Table, balls: Sequence[PlacedBall]) -> None:
    """Refuse overlapping balls and balls where none can rest.

    Raises:
        SceneError: there are such balls.
    """
    for k, ball in enumerate(balls):
        here = (ball.x_mm, ball.y_mm)
        if not can_rest(table, here):
            raise SceneError(
                f"balls[{k}] ({ball.id}): got {here}, where no ball can rest; allowed: at least "
                f"{FROZEN_INSET_MM} mm inside the nose lines, or on a pocket's shelf. Move it."
            )
        for other in balls[:k]:
            if math.dist(here, (other.x_mm, other.y_mm)) < BALL_DIAMETER_MM:
                raise SceneError(
                    f"balls[{k}]: got {ball.id} at {here}, which overlaps {other.id}; allowed: "
                    f"centres {BALL_DIAMETER_MM} mm apart or more. Move one."
                )


class Placer:
    """Draws places one after another and keeps what is taken."""

    def __init__(self, table: Table, rng: np.random.Generator) -> None:
        self.table = table
        self.rng = rng
        self.taken: list[Point] = []

    def accept(self, centre: Point, gap_mm: float = TOUCH_MM) -> bool:
        """Take a place if a ball can rest there clear of those taken; say whether."""
        if can_rest(self.table, centre) and clear_of(centre, self.taken, gap_mm):
            self.taken.append(centre)
            return True
        return False

    def anywhere(self) -> None:
        """One ball, evenly over the surface.

        Raises:
            SceneError: there is no room for one more.
        """
        for _ in range(2000):
            x, y = self.rng.uniform(
                FROZEN_INSET_MM, np.asarray(self.table.surface_mm) - FROZEN_INSET_MM
            )
            if self.accept((float(x), float(y))):
                return
        raise SceneError(
            f"balls: got {len(self.taken) + 1} balls and no room for the last; allowed: as many "
            "as the surface holds. Ask for fewer."
        )

    def touching(self) -> None:
        """One ball that touches one already placed, or lies within a few millimetres."""
        for _ in range(200):
            if not self.taken:
                break
            x, y = self.taken[int(self.rng.integers(len(self.taken)))]
            gap = TOUCH_MM + (0.0 if self.rng.random() < 0.6 else float(self.rng.exponential(6)))
            angle = self.rng.uniform(0, 2 * np.pi)
            place = (x + gap * math.cos(angle), y + gap * math.sin(angle))
            if self.accept(place, BALL_DIAMETER_MM):
                return
        self.anywhere()

    def frozen(self) -> None:
        """One ball frozen to a cushion."""
        length, width = self.table.surface_mm
        for _ in range(200):
            side = int(self.rng.integers(4))
            t = self.rng.uniform(0.08, 0.92)
            x, y = t * length, t * width
            if side < 2:
                y = FROZEN_INSET_MM if side == 0 else width - FROZEN_INSET_MM
            else:
                x = FROZEN_INSET_MM if side == 2 else length - FROZEN_INSET_MM
            on_side_pocket = side < 2 and abs(x - length / 2) < self.table.side_mouth_mm / 2 + 5
            if not on_side_pocket and self.accept((float(x), float(y))):
                return
        self.anywhere()

    def jaws(self) -> None:
        """One ball in a pocket's jaws."""
        pockets = self.table.pockets
        for _ in range(400):
            pocket = pockets[int(self.rng.integers(6))]
            deep = self.rng.uniform(-22, pocket.shelf_mm - EDGE_MM)
            across = self.rng.uniform(-22, 22)
            inward = np.asarray(pocket.inward)
            place = (
                np.asarray(pocket.aim_mm)
                + deep * inward
                + across * np.array([-inward[1], inward[0]])
            )
            centre = (float(place[0]), float(place[1]))
            if in_jaws(pocket, centre) and self.accept(centre):
                return
        self.anywhere()

    def rack(self, count: int = 15) -> None:
        """A tight rack at the foot spot, apex to the head end; rows of 1, 2, 3 …"""
        x0, y0 = self.table.spots_mm["foot"]
        step = BALL_DIAMETER_MM + 0.15
        placed = 0
        for row in range(5):
            for k in range(row + 1):
                if placed == count:
                    return
                x = x0 + row * step * math.sqrt(3) / 2
                y = y0 + (k - row / 2) * step
                jx, jy = np.clip(self.rng.normal(0, 0.03, 2), -0.05, 0.05)
                self.taken.append((x + float(jx), y + float(jy)))
                placed += 1


def draw_layout(
    table: Table, rng: np.random.Generator, names: Sequence[str], style: str
) -> tuple[PlacedBall, ...]:
    """Balls of those names in a style: ``scatter``, ``cluster``, ``rack`` or ``mixed``."""
    placer = Placer(table, rng)
    if style == "rack":
        placer.rack(min(15, len(names) - ("cue" in names)))
        numbers = [n for n in names if n != "cue"]
        order = [*rng.permutation(numbers), *(["cue"] if "cue" in names else [])]
        if "cue" in names:
            placer.anywhere()
        names = [str(n) for n in order]
    else:
        for k in range(len(names)):
            _draw_one(placer, rng, style, k)
        names = [str(n) for n in rng.permutation(list(names))]
    return tuple(
        PlacedBall(id=name, x_mm=x, y_mm=y, turn=random_turn(rng))
        for name, (x, y) in zip(names, placer.taken, strict=True)
    )


def _draw_one(placer: Placer, rng: np.random.Generator, style: str, index: int) -> None:
    chance = rng.random()
    touch = 0.75 if style == "cluster" else 0.18
    if index and chance < touch:
        placer.touching()
    elif chance > 0.93:
        placer.jaws()
    elif chance > 0.84:
        placer.frozen()
    else:
        placer.anywhere()
