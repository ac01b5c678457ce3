"""Billiard physics in two dimensions, for tests: equal balls, sliding and rolling, rails, mouths.

Written apart from the product and kept plain: balls move in straight lines from event to event,
at most ``STEP_S`` at a time, and lose speed between. A ball that reaches a rail between a
pocket's nose points drops; elsewhere it bounces.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from calibration.table import Table

D = 57.15
INSET_MM = 27.5
STEP_S = 0.02
SLIDE_MM_S2 = 0.2 * 9810
ROLL_MM_S2 = 0.012 * 9810
BALL_BOUNCE, RAIL_BOUNCE = 0.95, 0.75
REST_MM_S = 4.0
Place = tuple[float, float]


@dataclass
class Played:
    """Where the balls came to rest, what dropped where, and which balls were hit."""

    rest_mm: dict[str, Place]
    potted: dict[str, str] = field(default_factory=dict)
    hit: set[str] = field(default_factory=set)
    cue_track_mm: list[Place] = field(default_factory=list)


def play(
    places_mm: dict[str, Place], table: Table, aim_rad: float, speed_mm_s: float, spin: float = 0.0
) -> Played:
    """Strike the cue ball; ``spin`` is −1 for full draw, 0 for stun, 1 for natural roll."""
    names = sorted(places_mm, key=lambda name: name != "cue")
    p = np.array([places_mm[name] for name in names], dtype=float)
    v, w = np.zeros_like(p), np.zeros_like(p)  # w: speed of the surface that rolling would have
    v[0] = speed_mm_s * np.array([math.cos(aim_rad), math.sin(aim_rad)])
    w[0] = spin * v[0]
    on = np.ones(len(p), dtype=bool)
    first, second = np.triu_indices(len(p), 1)
    out = Played(rest_mm={}, cue_track_mm=[tuple(p[0])])
    low = np.full(2, INSET_MM)
    high = np.array(table.surface_mm) - INSET_MM
    for _ in range(6000):
        if not (np.hypot(*v[on].T) > 0).any():
            break
        pair, t_pair = _next_hit(p, v, on, first, second)
        ball, axis, t_rail = _next_rail(p, v, on, low, high)
        step = max(min(t_pair, t_rail, STEP_S), 0.0)
        p += v * step
        _slow(v, w, step)
        if t_pair <= step and t_pair <= t_rail:
            i, j = first[pair], second[pair]
            _collide(p, v, i, j)
            out.hit |= {names[i], names[j]}
        elif t_rail <= step:
            pocket = _mouth(p[ball], axis, table)
            if pocket is None:
                v[ball, axis] *= -RAIL_BOUNCE
                w[ball] = 0.5 * v[ball]
            else:
                out.potted[names[ball]] = pocket
                on[ball], v[ball], w[ball] = False, 0.0, 0.0
        if t_pair <= step or t_rail <= step:
            out.cue_track_mm.append(tuple(p[0]))
    out.rest_mm = {name: tuple(map(float, p[i])) for i, name in enumerate(names) if on[i]}
    return out


def _next_hit(p, v, on, first, second) -> tuple[int, float]:
    d, u = p[second] - p[first], v[second] - v[first]
    closing = (d * u).sum(axis=1)
    square = (u * u).sum(axis=1)
    room = closing**2 - square * ((d * d).sum(axis=1) - D * D)
    some = (closing < -1e-9) & (room > 0) & on[first] & on[second]
    if not some.any():
        return 0, math.inf
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(some, (-closing - np.sqrt(np.where(some, room, 0.0))) / square, math.inf)
    t = np.maximum(t, 0.0)
    best = int(t.argmin())
    return best, float(t[best])


def _next_rail(p, v, on, low, high) -> tuple[int, int, float]:
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(v > 0, (high - p) / v, np.where(v < 0, (low - p) / v, math.inf))
    t = np.where(on[:, None], np.maximum(t, 0.0), math.inf)
    ball, axis = np.unravel_index(int(t.argmin()), t.shape)
    return int(ball), int(axis), float(t[ball, axis])


def _slow(v, w, step) -> None:
    slip = v - w
    size = np.hypot(*slip.T)
    slides = size > 1e-6
    # sliding ends when the slip is used up: it shrinks by 7/2 of the friction
    lost = np.where(slides, np.minimum(SLIDE_MM_S2 * step, size / 3.5), 0.0)
    push = slip * (lost / np.maximum(size, 1e-9))[:, None]
    v -= push
    w += 2.5 * push
    speed = np.hypot(*v.T)
    rolls = np.hypot(*(v - w).T) <= 1e-6 + 0.5
    keep = np.where(rolls, np.maximum(1 - ROLL_MM_S2 * step / np.maximum(speed, 1e-9), 0.0), 1.0)
    v *= keep[:, None]
    w *= keep[:, None]
    rest = (np.hypot(*v.T) < REST_MM_S) & rolls
    v[rest] = w[rest] = 0.0


def _collide(p, v, i, j) -> None:
    n = p[j] - p[i]
    n /= np.hypot(*n)
    push = (1 + BALL_BOUNCE) / 2 * ((v[i] - v[j]) @ n) * n
    v[i] -= push
    v[j] += push


def _mouth(place, axis, table) -> str | None:
    """The pocket whose mouth a ball at the rail has reached, clear of its points."""
    length, width = table.surface_mm
    hand = "left" if place[1] > width / 2 else "right"
    end = "head" if place[0] < length / 2 else "foot"
    leg = table.corner_mouth_mm / math.sqrt(2) - D / 4
    if axis == 1 and abs(place[0] - length / 2) < table.side_mouth_mm / 2 - D / 3:
        return f"side-{hand}"
    along = place[1 - axis]
    if min(along, (width if axis == 0 else length) - along) < leg:
        return f"{end}-{hand}"
    return None


# -- aiming ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Aim:
    """A pot: which ball into which pocket, the cue ball's direction, how easy it is."""

    ball: str
    pocket: str
    aim_rad: float
    way_mm: float
    ease: float


def pots(places_mm: dict[str, Place], table: Table, *, cue_mm: Place | None = None) -> list[Aim]:
    """Direct pots from where the cue ball lies, easiest first."""
    cue = np.array(cue_mm or places_mm["cue"])
    out = []
    for name, place in places_mm.items():
        for pocket in table.pockets if name != "cue" else ():
            ball, aim = np.array(place), np.array(pocket.aim_mm)
            way = aim - ball
            far = float(np.hypot(*way))
            u = way / far
            ghost = ball - D * u
            line = ghost - cue
            near = max(float(np.hypot(*line)), 1.0)
            cut = float(line @ u) / near
            others = [q for other, q in places_mm.items() if other not in ("cue", name)]
            entry = pocket.mouth_mm * float(u @ np.array(pocket.inward)) - D
            if cut < 0.3 or entry < 8 or not _within(ghost, table):
                continue
            if _blocked(cue, ghost, others) or _blocked(ball, aim, others):
                continue
            ease = entry / far * cut * D / near
            aim_rad = math.atan2(line[1], line[0])
            out.append(Aim(name, pocket.name, aim_rad, near + far, ease))
    return sorted(out, key=lambda aim: -aim.ease)


def _within(place, table: Table) -> bool:
    length, width = table.surface_mm
    return 27 <= place[0] <= length - 27 and 27 <= place[1] <= width - 27


def _blocked(start, end, others) -> bool:
    way = end - start
    square = max(float(way @ way), 1e-9)
    for other in others:
        share = min(max(float((np.array(other) - start) @ way) / square, 0.0), 1.0)
        if np.hypot(*(np.array(other) - start - share * way)) < D:
            return True
    return False
