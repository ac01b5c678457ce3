"""A player's arm over the bed: bridge hand, forearm, sleeve, shoulder, and the cue."""

from __future__ import annotations

import math

import numpy as np

from vision.training.scenes.looks import Thing
from vision.training.scenes.shapes.nets import Limb, body_mesh
from vision.training.scenes.values import FloatArray, Material, Mesh, Part, Rgb

from .things import CUE_LENGTH_MM, cue_parts

SKINS: tuple[Rgb, ...] = (
    (0.80, 0.60, 0.49), (0.72, 0.50, 0.38), (0.55, 0.36, 0.26), (0.86, 0.68, 0.58),
    (0.38, 0.25, 0.18),
)  # fmt: skip
SLEEVES: tuple[Rgb, ...] = (
    (0.13, 0.14, 0.17), (0.20, 0.27, 0.40), (0.62, 0.62, 0.60), (0.42, 0.12, 0.13),
    (0.17, 0.27, 0.20),
)  # fmt: skip


def arm_parts(thing: Thing) -> list[Part]:
    """The arm whose hand rests at (x, y), reaching along ``turn_deg``."""
    rng = np.random.default_rng(thing.seed)
    skin = SKINS[int(rng.integers(len(SKINS)))]
    shirt = SLEEVES[int(rng.integers(len(SLEEVES)))]
    side = 1.0 if rng.random() < 0.5 else -1.0
    bare = float(rng.uniform(-170, -60))
    fingers = body_mesh(hand(side) + forearm(bare), step_mm=3.4, soft_mm=11.0)
    cloth = body_mesh(sleeve(bare, side), step_mm=8.0, soft_mm=30.0, ripple_mm=4.0, seed=thing.seed)
    parts = [
        Part(
            name="hand", shape=_moved(fingers, thing),
            material=Material(kind="gloss", colour=skin, roughness=0.32),
        ),
        Part(name="sleeve", shape=_moved(cloth, thing), material=Material(colour=shirt)),
    ]  # fmt: skip
    if rng.random() < 0.85:
        parts += _aimed_cue(thing, rng)
    return parts


def hand(side: float) -> list[Limb]:
    """An open bridge hand about the origin, fingers along +x, thumb on ``side``."""
    limbs = [
        Limb(from_mm=(-42.0, 0.0, 30.0), to_mm=(2.0, -16.0, 27.0),
             from_radius_mm=25.0, to_radius_mm=17.0),
        Limb(from_mm=(-42.0, 0.0, 30.0), to_mm=(2.0, 16.0, 27.0),
             from_radius_mm=25.0, to_radius_mm=17.0),
        Limb(from_mm=(-4.0, -26.0, 24.0), to_mm=(8.0, 26.0, 27.0),
             from_radius_mm=14.0, to_radius_mm=14.0),
    ]  # fmt: skip
    for k, (lateral, reach) in enumerate(
        ((-30.0, 76.0), (-11.0, 95.0), (10.0, 99.0), (30.0, 88.0))
    ):
        y = lateral * side * -1.0
        spread = y * 1.55
        knuckle = (14.0, y, 30.0)
        joint = (14.0 + reach * 0.48, y + (spread - y) * 0.55, 30.0 + 3.0 * (k % 2))
        tip = (14.0 + reach, spread, 8.5)
        limbs.append(Limb(from_mm=knuckle, to_mm=joint, from_radius_mm=11.5, to_radius_mm=9.2))
        limbs.append(Limb(from_mm=joint, to_mm=tip, from_radius_mm=9.2, to_radius_mm=7.2))
    thumb = ((-22.0, 26.0 * side, 27.0), (16.0, 46.0 * side, 33.0), (48.0, 44.0 * side, 40.0))
    limbs.append(Limb(from_mm=thumb[0], to_mm=thumb[1], from_radius_mm=15.0, to_radius_mm=11.0))
    limbs.append(Limb(from_mm=thumb[1], to_mm=thumb[2], from_radius_mm=11.0, to_radius_mm=8.5))
    return limbs


def forearm(bare_mm: float) -> list[Limb]:
    """From the wrist back to the sleeve's end and on inside it."""
    return [
        Limb(from_mm=(-45.0, 0.0, 31.0), to_mm=(bare_mm - 60, 0.0, 75.0),
             from_radius_mm=25.0, to_radius_mm=36.0)
    ]  # fmt: skip


def sleeve(bare_mm: float, side: float) -> list[Limb]:
    """Sleeve from the wrist back, upper arm, shoulder and a piece of the trunk."""
    return [
        Limb(from_mm=(bare_mm, 0.0, 62.0), to_mm=(-300.0, 6.0 * side, 135.0),
             from_radius_mm=41.0, to_radius_mm=53.0),
        Limb(from_mm=(-300.0, 6.0 * side, 135.0), to_mm=(-620.0, -60.0 * side, 300.0),
             from_radius_mm=54.0, to_radius_mm=72.0),
        Limb(from_mm=(-620.0, -60.0 * side, 300.0), to_mm=(-860.0, -260.0 * side, 340.0),
             from_radius_mm=90.0, to_radius_mm=150.0),
        Limb(from_mm=(-860.0, -260.0 * side, 340.0), to_mm=(-1150.0, -250.0 * side, 220.0),
             from_radius_mm=160.0, to_radius_mm=170.0),
    ]  # fmt: skip


def _moved(mesh: Mesh, thing: Thing) -> Mesh:
    """Turned about z and set down at the thing's place."""
    turn = math.radians(thing.turn_deg)
    rotation = np.array(
        [[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1.0]]
    )
    place = np.array([thing.x_mm, thing.y_mm, thing.z_mm])
    assert mesh.normals is not None
    return Mesh(
        vertices_mm=mesh.vertices_mm @ rotation.T + place,
        faces=mesh.faces,
        normals=mesh.normals @ rotation.T,
    )


def _aimed_cue(thing: Thing, rng: np.random.Generator) -> list[Part]:
    """The cue lying over thumb and knuckles, tip ahead of the hand."""
    turn = math.radians(thing.turn_deg + float(rng.normal(0, 4)))
    heading = np.array([math.cos(turn), math.sin(turn), -0.03])
    heading /= np.linalg.norm(heading)
    ahead = float(rng.uniform(140, 280))
    over: FloatArray = np.array([thing.x_mm, thing.y_mm, thing.z_mm + 58.0])
    butt = over - heading * (CUE_LENGTH_MM - ahead)
    return cue_parts(butt, heading, thing.seed + 9)


def draw_reach(
    rng: np.random.Generator, length_mm: float, width_mm: float
) -> tuple[float, float, float]:
    """Where a hand rests and which way it reaches: x, y mm and degrees, from outside inward."""
    inward = float(rng.uniform(120, 360))
    edge = int(rng.integers(4))
    if edge < 2:
        x = float(rng.uniform(0.12, 0.88)) * length_mm
        y, turn = (inward, 90.0) if edge == 0 else (width_mm - inward, -90.0)
    else:
        y = float(rng.uniform(0.2, 0.8)) * width_mm
        x, turn = (inward, 0.0) if edge == 2 else (length_mm - inward, 180.0)
    return x, y, turn + float(rng.normal(0, 14))
