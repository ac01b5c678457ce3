"""People: a player who stands beside the table, and one who leans over the bed.

Plain rounded bodies in plain clothes. Local frames: x forward, y to the left, z from the bed's
plane, mm; the thing's place and turn set them down in the table frame.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vision.training.scenes.looks import Thing
from vision.training.scenes.paint.lamps import FLOOR_MM
from vision.training.scenes.shapes.nets import Limb, body_mesh
from vision.training.scenes.values import FloatArray, Material, Part, Rgb

from .arm import SKINS, SLEEVES, forearm, hand, sleeve
from .things import CUE_LENGTH_MM, cue_parts

POSES = ("hanging", "cue", "rail")
"""What a standing player's hands do: hang, hold a cue upright, or one rests on the rail."""
RAIL_HAND_MM = 235.0
"""How far before the body the hand on the rail lies."""
_TROUSERS: tuple[Rgb, ...] = (
    (0.08, 0.08, 0.10), (0.16, 0.20, 0.30), (0.40, 0.35, 0.27), (0.25, 0.25, 0.26),
)  # fmt: skip
_HAIR: tuple[Rgb, ...] = (
    (0.06, 0.05, 0.04), (0.20, 0.12, 0.07), (0.45, 0.34, 0.20), (0.50, 0.49, 0.47),
)  # fmt: skip
_COARSE_MM, _FINE_MM = 15.0, 8.0
Limbs = Mapping[str, list[Limb]]


def pose_of(thing: Thing) -> str:
    """How a standing player holds the hands: settled by the thing's seed."""
    return POSES[thing.seed % len(POSES)]


def player_limbs(thing: Thing) -> dict[str, list[Limb]]:
    """Limbs of a standing player by piece of clothing, local frame."""
    rng = np.random.default_rng(thing.seed)
    tall = float(rng.uniform(1550, 1930))
    wide = float(rng.uniform(0.9, 1.2))
    shoulder, hip = FLOOR_MM + 0.82 * tall, FLOOR_MM + 0.52 * tall
    shirt, trousers, skin = [], [], []
    for side in (-1.0, 1.0):
        shirt.append(_limb((0, 68 * side * wide, hip), (0, 80 * side * wide, shoulder - 130),
                           112 * wide, 118 * wide))  # fmt: skip
        trousers.append(_limb((0, 85 * side, hip - 20), (0, 110 * side, FLOOR_MM + 90), 98, 62))
    shirt.append(_limb((0, -150, shoulder - 45), (0, 150, shoulder - 45), 78, 78))
    for side in (-1.0, 1.0):
        elbow, hand_at = _hand_pose(pose_of(thing), side, shoulder)
        shirt.append(_limb((0, 195 * side, shoulder - 50), elbow, 66, 50))
        skin.append(_limb(elbow, hand_at, 42, 30))
        skin.append(_limb(hand_at, (hand_at[0] + 55, hand_at[1], hand_at[2] - 14), 34, 20))
    return {"shirt": shirt, "trousers": trousers, "skin": skin, **_head((30, 0, shoulder + 150))}


def leaner_limbs(thing: Thing) -> dict[str, list[Limb]]:
    """Limbs of a player bent over the cue, bridge hand at the origin, reaching along x."""
    rng = np.random.default_rng(thing.seed)
    side = 1.0 if rng.random() < 0.5 else -1.0
    bare = float(rng.uniform(-170, -60))
    drop = float(rng.uniform(0, 70))
    shoulder = (-690.0, -250.0 * side, 330.0)
    elbow = (-900.0, 20.0 * side, 470.0)
    grip = (-880.0, 20.0 * side, 160.0)
    shirt = [
        *sleeve(bare, side)[:2],
        _limb((-620, -60 * side, 300), shoulder, 80, 105),
        _limb(shoulder, (-700, 30 * side, 380), 110, 105),
        _limb((-690, -120 * side, 355), (-1300, -130 * side, 210), 150, 160),
        _limb((-700, 30 * side, 380), elbow, 80, 55),
    ]
    trousers = [
        _limb((-1320, (-130 + k * 85) * side, 180), (-1380, (-130 + k * 130) * side, -640), 110, 65)
        for k in (-1.0, 1.0)
    ]
    skin = [_limb(elbow, grip, 44, 32)]
    head = _head((-480.0 - drop, 5.0 * side, 420.0 - drop), forward=0.75)
    head["skin"].extend(skin)
    return {"shirt": shirt, "trousers": trousers, "hand": hand(side) + forearm(bare), **head}


def _limb(a: tuple[float, float, float], b: tuple[float, float, float],
          from_radius_mm: float, to_radius_mm: float) -> Limb:  # fmt: skip
    return Limb(from_mm=a, to_mm=b, from_radius_mm=from_radius_mm, to_radius_mm=to_radius_mm)


def _hand_pose(
    pose: str, side: float, shoulder: float
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Elbow and hand of one side."""
    if pose == "cue" and side > 0:
        return (60.0, 250.0, shoulder - 300), (210.0, 215.0, shoulder - 420)
    if pose == "rail" and side > 0:
        return (70.0, 240.0, shoulder - 290), (RAIL_HAND_MM - 30, 190.0, 78.0)
    return (-10.0, 245.0 * side, shoulder - 310), (45.0, 235.0 * side, shoulder - 570)


def _head(centre: tuple[float, float, float], *, forward: float = 0.0) -> dict[str, list[Limb]]:
    """Head and neck, and hair as a cap that sits behind and above."""
    x, y, z = centre
    skin = [
        _limb((x, y, z - 30), (x - 10, y, z + 40), 78, 92),
        _limb((x - 20 - 70 * forward, y, z - 130 + 40 * forward), (x - 10, y, z), 56, 56),
    ]
    hair = [_limb((x - 26 - 10 * forward, y, z + 20), (x - 16 + 14 * forward, y, z + 52), 88, 97)]
    return {"head": skin, "hair": hair, "skin": []}


def limbs_of(thing: Thing) -> list[Limb]:
    """All limbs of a person in the table frame."""
    pieces = player_limbs(thing) if thing.kind == "player" else leaner_limbs(thing)
    return [_set_down(limb, thing) for piece in pieces.values() for limb in piece]


def person_parts(thing: Thing) -> list[Part]:
    """The parts of a player or a leaner, with the cue that is held."""
    rng = np.random.default_rng((thing.seed, 5))
    skin = Material(kind="gloss", colour=_one(rng, SKINS), roughness=0.32)
    shirt = Material(colour=_one(rng, SLEEVES))
    materials = {
        "shirt": shirt, "trousers": Material(colour=_one(rng, _TROUSERS)), "skin": skin,
        "head": skin, "hand": skin, "hair": Material(colour=_one(rng, _HAIR)),
    }  # fmt: skip
    player = thing.kind == "player"
    pieces = player_limbs(thing) if player else leaner_limbs(thing)
    parts = [
        _piece(name, [_set_down(limb, thing) for limb in limbs], materials[name], thing.seed)
        for name, limbs in pieces.items()
        if limbs
    ]
    if player and pose_of(thing) == "cue":
        parts += _upright_cue(thing)
    if not player and rng.random() < 0.8:
        parts += _held_cue(thing, rng)
    return parts


def _piece(name: str, limbs: list[Limb], material: Material, seed: int) -> Part:
    """One piece of clothing or skin as a mesh."""
    steps = {"hand": (3.4, 11.0, 0.0), "head": (_FINE_MM, 25.0, 0.0), "hair": (_FINE_MM, 20.0, 0.0),
             "skin": (_FINE_MM, 18.0, 0.0)}  # fmt: skip
    step, soft, ripple = steps.get(name, (_COARSE_MM, 45.0, 5.0))
    mesh = body_mesh(limbs, step_mm=step, soft_mm=soft, ripple_mm=ripple, seed=seed)
    return Part(name=f"person-{name}", shape=mesh, material=material)


def _set_down(limb: Limb, thing: Thing) -> Limb:
    return replace(
        limb, from_mm=_placed(limb.from_mm, thing), to_mm=_placed(limb.to_mm, thing)
    )  # fmt: skip


def _placed(point: tuple[float, float, float], thing: Thing) -> tuple[float, float, float]:
    turn = math.radians(thing.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    x, y, z = point
    return (thing.x_mm + c * x - s * y, thing.y_mm + s * x + c * y, thing.z_mm + z)


def _one(rng: np.random.Generator, options: tuple[Rgb, ...]) -> Rgb:
    r, g, b = np.clip(np.asarray(options[int(rng.integers(len(options)))])
                      * rng.normal(1, 0.08, 3), 0.01, 0.95)  # fmt: skip
    return (float(r), float(g), float(b))


def _upright_cue(thing: Thing) -> list[Part]:
    """The cue in the left hand, butt on the floor."""
    x, y, _ = _placed((240.0, 215.0, 0.0), thing)
    butt: FloatArray = np.array([x, y, FLOOR_MM])
    return cue_parts(butt, np.array([0.0, 0.0, 1.0]), thing.seed + 9)


def _held_cue(thing: Thing, rng: np.random.Generator) -> list[Part]:
    """The cue over the bridge hand, its butt in the other."""
    turn = math.radians(thing.turn_deg + float(rng.normal(0, 1)))
    heading = np.array([math.cos(turn), math.sin(turn), -0.07])
    heading /= np.linalg.norm(heading)
    over: FloatArray = np.array([thing.x_mm, thing.y_mm, thing.z_mm + 62.0])
    butt = over - heading * (CUE_LENGTH_MM - float(rng.uniform(140, 280)))
    return cue_parts(butt, heading, thing.seed + 9)
