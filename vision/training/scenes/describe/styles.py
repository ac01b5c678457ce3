"""Layout styles that training needs: rows on cushions, jaws, tight clusters, racks, spots."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.training.scenes.looks import PlacedBall

from .placing import TOUCH_MM, Placer, Point, draw_layout, random_turn

STYLE_SHARES = {
    "scatter": 0.30, "cluster": 0.14, "rack": 0.10, "rows": 0.14, "jaws": 0.08, "tight": 0.14,
    "spots": 0.10,
}  # fmt: skip
"""How often ``draw_varied`` chooses each style."""
SPOT_SIGMA_MM = 75.0


def draw_varied(
    table: Table, rng: np.random.Generator, names: Sequence[str]
) -> tuple[PlacedBall, ...]:
    """Balls of those names in a style chosen by ``STYLE_SHARES``."""
    style = str(rng.choice(list(STYLE_SHARES), p=list(STYLE_SHARES.values())))
    if style == "rack" and len(names) < 7:
        style = "tight"
    makers: dict[str, Callable[[Placer, int], None]] = {
        "rows": _rows, "jaws": _jaws, "tight": _tight, "spots": _spots,
    }  # fmt: skip
    if style not in makers:
        return draw_layout(table, rng, names, style)
    placer = Placer(table, rng)
    # a few balls always lie anywhere
    grouped = max(1, round(len(names) * float(rng.uniform(0.5, 1.0))))
    makers[style](placer, grouped)
    while len(placer.taken) < len(names):
        placer.anywhere()
    order = rng.permutation(list(names))
    return tuple(
        PlacedBall(id=str(name), x_mm=x, y_mm=y, turn=random_turn(rng))
        for name, (x, y) in zip(order, placer.taken, strict=True)
    )


def _rows(placer: Placer, count: int) -> None:
    """Rows of balls frozen to cushions, touching or a little apart."""
    rng, table = placer.rng, placer.table
    tries = 0
    while len(placer.taken) < count and tries < 60:
        tries += 1
        wanted = min(int(rng.integers(1, 7)), count - len(placer.taken))
        gap = TOUCH_MM + (0.0 if rng.random() < 0.5 else float(rng.exponential(12)))
        side = int(rng.integers(4))
        start = float(rng.uniform(0.05, 0.9)) * table.surface_mm[0 if side < 2 else 1]
        for k in range(wanted):
            if not placer.accept(_at_cushion(table, side, start + k * gap), BALL_DIAMETER_MM):
                break


def _at_cushion(table: Table, side: int, along_mm: float) -> Point:
    """The centre of a frozen ball on the lower, upper, head or foot cushion."""
    length, width = table.surface_mm
    far = (FROZEN_INSET_MM, width - FROZEN_INSET_MM, FROZEN_INSET_MM, length - FROZEN_INSET_MM)
    return (along_mm, far[side]) if side < 2 else (far[side], along_mm)


def _jaws(placer: Placer, count: int) -> None:
    """Balls in the jaws, at most one a pocket in the main."""
    for _ in range(min(count, 6)):
        placer.jaws()


def _tight(placer: Placer, count: int) -> None:
    """One to three clusters of touching balls, each on its own turned lattice."""
    rng = placer.rng
    clusters = min(int(rng.integers(1, 4)), count)
    for k in range(clusters):
        placer.anywhere()
        share = count // clusters if k < clusters - 1 else count - len(placer.taken)
        _grow(placer, placer.taken[-1], float(rng.uniform(0, 2 * math.pi)), share - 1)


def _grow(placer: Placer, seed_mm: Point, turn: float, count: int) -> None:
    """Up to ``count`` balls that touch the cluster begun at ``seed_mm``."""
    members = [seed_mm]
    for _ in range(40 * max(count, 0)):
        if len(members) > count:
            return
        x, y = members[int(placer.rng.integers(len(members)))]
        angle = turn + math.pi / 3 * int(placer.rng.integers(6))
        place = (x + TOUCH_MM * math.cos(angle), y + TOUCH_MM * math.sin(angle))
        if placer.accept(place, BALL_DIAMETER_MM):
            members.append(place)


def _spots(placer: Placer, count: int) -> None:
    """Balls on and about the spots, one exactly on a spot now and then."""
    rng = placer.rng
    places = list(placer.table.spots_mm.values())
    for _ in range(count):
        x, y = places[int(rng.integers(len(places)))]
        sigma = 0.0 if rng.random() < 0.25 else SPOT_SIGMA_MM
        for _ in range(30):
            dx, dy = rng.normal(0, sigma, 2) if sigma else (0.0, 0.0)
            if placer.accept((float(x + dx), float(y + dy))):
                break
            sigma = SPOT_SIGMA_MM
