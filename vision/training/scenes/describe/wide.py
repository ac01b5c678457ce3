"""Rooms and scenes as wide as real ones may be: for training, and for measuring what it gave.

Drawn from generators of their own beside ``draw_room``'s, so that its seeds stay what they are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.training.scenes.looks import BallLook, ClothLook, LampLook, SensorLook, Thing
from vision.training.scenes.paint.ball_texture import SCHEMES

from .beside import draw_on_floor, draw_on_rail, draw_player
from .clutter import draw_things
from .hindrance import SHARES, TRAINING_SHARES, draw_hindrance
from .room import Room, Scene, draw_names, draw_room
from .styles import draw_varied

WIDE_KEY = 77
TILT_LIMIT_DEG = 24.0
SCHEME_SHARES = {"standard": 0.68, "broadcast": 0.18, "broadcast-lilac": 0.14}
OBSTRUCTED_SHARE = 0.22
"""Of stills whose obstruction is drawn: what obstructs must be learnt from few rooms."""
PLAYER_SHARE = 0.28
RAIL_SHARE = 0.40
CLUTTER = 0.6


def wide_room(seed: int, *, hard: bool) -> Room:
    """The room of a seed with any ball set; ``hard`` adds worn cloth, more light, poor cameras."""
    room = draw_room(seed, tilt_limit_deg=TILT_LIMIT_DEG)
    rng = np.random.default_rng((seed, WIDE_KEY))
    balls = _any_set(rng, room.balls)
    if not hard:
        return replace(room, balls=balls, lamps=_more_lamps(rng, room.lamps, share=0.2))
    return replace(
        room,
        balls=_dirty(rng, balls),
        cloth=_worn(rng, room.cloth),
        lamps=_more_lamps(rng, room.lamps, share=0.5),
        sensor=draw_poor_sensor(rng),
    )


def draw_poor_sensor(rng: np.random.Generator) -> SensorLook:
    """A poor camera's faults: dark or bright, coloured, soft, noisy, shaded, squeezed."""
    return SensorLook(
        exposure=float(np.exp(rng.uniform(np.log(0.55), np.log(1.6)))),
        red_gain=float(rng.uniform(0.88, 1.12)),
        blue_gain=float(rng.uniform(0.88, 1.12)),
        blur_px=float(rng.uniform(0.3, 1.6)),
        sharpen=float(rng.uniform(0.0, 1.1)),
        noise=float(np.exp(rng.uniform(np.log(0.002), np.log(0.028)))),
        vignette=float(rng.uniform(0.0, 0.4)),
        saturation=float(rng.uniform(0.8, 1.25)),
        quality=int(rng.integers(60, 96)),
    )


def _any_set(rng: np.random.Generator, look: BallLook) -> BallLook:
    """The set in any scheme, its shades further apart than one maker's."""
    assert set(SCHEME_SHARES) == set(SCHEMES)
    return replace(
        look,
        scheme=str(rng.choice(list(SCHEME_SHARES), p=list(SCHEME_SHARES.values()))),
        shade=float(rng.uniform(-1.6, 1.6)),
        hue=float(rng.uniform(-1.8, 1.8)),
    )


def _dirty(rng: np.random.Generator, look: BallLook) -> BallLook:
    """Dusty or dull balls, polished ones as well."""
    return replace(
        look,
        dust=float(rng.uniform(0, 1)),
        gloss=float(np.exp(rng.uniform(np.log(0.015), np.log(0.16)))),
        ivory=float(rng.uniform(0, 1.2)),
    )


def _worn(rng: np.random.Generator, look: ClothLook) -> ClothLook:
    """Cloth that has been played on for long."""
    return replace(
        look,
        mottle=float(rng.uniform(0.01, 0.05)),
        tracks=float(rng.uniform(0.2, 1.0)),
        chalk=float(rng.uniform(0.1, 1.0)),
        worn=float(rng.uniform(0.2, 1.0)),
    )


def _more_lamps(
    rng: np.random.Generator, lamps: tuple[LampLook, ...], *, share: float
) -> tuple[LampLook, ...]:
    """Daylight or light from neighbouring tables added to a share of the rooms."""
    if rng.random() >= share or any(lamp.kind == "window" for lamp in lamps):
        return lamps
    kind = "window" if rng.random() < 0.6 else "hall-panels"
    daylight = kind == "window"
    extra = LampLook(
        kind=kind, kelvin=float(rng.uniform(5600, 7000)) if daylight else lamps[0].kelvin,
        strength=float(rng.uniform(0.4, 2.0) if daylight else rng.uniform(0.3, 1.6)),
        turn=float(rng.random()),
    )  # fmt: skip
    return (*lamps, extra)


def wide_scene(
    room: Room, seed: int, *, obstructed: bool | None = None, busy: bool | None = None
) -> Scene:
    """One to sixteen balls in any style, with things, a player or a hindrance.

    ``obstructed`` and ``busy`` (something on the rail or a player beside the table) are drawn
    by the stated shares where they are not given, and what obstructs is then more often what is
    hard to notice.
    """
    rng = np.random.default_rng((room.seed, seed, WIDE_KEY))
    names = draw_names(rng, int(rng.integers(1, 17)))
    balls = draw_varied(room.table, rng, names)
    things = [*draw_things(rng, room.table, CLUTTER), *_beside(rng, room, busy)]
    hindered = bool(rng.random() < OBSTRUCTED_SHARE) if obstructed is None else obstructed
    if hindered:
        shares = TRAINING_SHARES if obstructed is None else SHARES
        things.append(draw_hindrance(rng, room.table, balls, shares))
    return Scene(room=room, balls=balls, things=tuple(things), obstructed=hindered, still_seed=seed)


def _beside(rng: np.random.Generator, room: Room, busy: bool | None) -> list[Thing]:
    """What obstructs nothing: a player, something on the rail, a bag on the floor."""
    player, rail = bool(rng.random() < PLAYER_SHARE), bool(rng.random() < RAIL_SHARE)
    if busy is not None:
        player, rail = (player or bool(rng.random() < 0.4), True) if busy else (False, False)
    things = []
    if rail:
        things.append(draw_on_rail(rng, room.table))
    if player:
        somebody = draw_player(rng, room.table, room.camera, room.lamps)
        things += [somebody] if somebody is not None else []
    if busy is not False and rng.random() < 0.15:
        things.append(draw_on_floor(rng, room.table))
    return things
