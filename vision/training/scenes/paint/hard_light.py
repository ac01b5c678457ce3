"""Light with edges: sun through a window, a lamp in a deep shade, coloured strips, a low shade."""

from __future__ import annotations

import colorsys

import numpy as np

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.looks import LampLook, WallLook
from vision.training.scenes.shapes.meshes import disc, lathe
from vision.training.scenes.values import FloatArray, Material, Panel, Part, Rgb

from .lamps import bar_points, in_view, light_colour, lit_panel, triple

SUN_AWAY_MM = 12_000.0
SUN_RADIUS_MM = 56.0
"""Half a degree across at that distance, as the sun's disc."""
SUN_RADIANCE = 26_000.0
SKY_RADIANCE = 3.0
FRAME = Material(colour=(0.55, 0.53, 0.5))
SHADE = Material(kind="gloss", colour=(0.08, 0.09, 0.09), roughness=0.3)


def hard_parts(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """The parts of a lamp of one of the hard kinds."""
    makers = {
        "sun": _sun, "shaft": _shaft, "strips": _strips, "low-shade": _low_shade,
        "middle-shade": _middle_shade,
    }  # fmt: skip
    return makers[lamp.kind](lamp, table, camera, walls)


HARD_KINDS = ("sun", "shaft", "strips", "low-shade", "middle-shade")
MIDDLE_SHADE_MM = 230.0
"""Radius of the shade that hangs over the middle of the width."""


def sun_side(lamps: tuple[LampLook, ...]) -> float | None:
    """The side (−1 or 1 in y) whose wall the sun comes through; None without a sun."""
    return next((_side(lamp) for lamp in lamps if lamp.kind == "sun"), None)


def _side(lamp: LampLook) -> float:
    return -1.0 if lamp.turn < 0.5 else 1.0


def _plate(name: str, centre: FloatArray, half_x: float, half_z: float) -> Part:
    """An upright plate in the wall's plane, thin."""
    panel = Panel(
        centre_mm=triple(centre), half_u_mm=(half_x, 0.0, 0.0), half_v_mm=(0.0, 0.0, half_z)
    )
    return Part(name=name, shape=panel, material=FRAME)


def _sun(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """The sun through a barred window onto a drawn place of the bed; the sky beyond it.

    The wall on that side is left out by ``shell_parts``; plates round the opening stand for it.
    """
    rng = np.random.default_rng(lamp.seed)
    side = _side(lamp)
    wall_y = table.width_mm / 2 + side * (walls.half_width_mm - 10)
    aim = np.array([*rng.uniform((0.1, 0.1), (0.9, 0.9)) * table.surface_mm, 0.0])
    half = np.array([rng.uniform(250, 800), rng.uniform(250, 650)])
    middle = np.array([aim[0] + rng.normal(0, 900), wall_y, rng.uniform(500, 1700)])
    parts = _opening(middle, half, walls, table)
    parts += _bars(rng, middle, half)
    away = (middle - aim) / np.linalg.norm(middle - aim)
    glow = disc(middle + away * SUN_AWAY_MM, SUN_RADIUS_MM, list(-away), 24)
    sun = light_colour(lamp.kelvin, SUN_RADIANCE * lamp.strength, tint=0.6)
    parts.append(Part(name="sun", shape=glow, radiance=sun))
    sky = Panel(
        centre_mm=triple(middle + np.array([0.0, side * 15_000.0, 2000.0])),
        half_u_mm=(14_000.0, 0.0, 0.0), half_v_mm=(0.0, 0.0, side * 7000.0),
    )  # fmt: skip
    parts.append(Part(name="sky", shape=sky, radiance=light_colour(8500, SKY_RADIANCE, tint=0.6)))
    return parts


def _opening(middle: FloatArray, half: FloatArray, walls: WallLook, table: Table) -> list[Part]:
    """The wall around the opening, as four plates that reach far beyond the room."""
    x, y, z = middle
    a, b = half
    far = 9000.0
    return [
        _plate("wall-left", np.array([x - a - far, y, 0.0]), far, far),
        _plate("wall-right", np.array([x + a + far, y, 0.0]), far, far),
        _plate("wall-under", np.array([x, y, z - b - far]), a, far),
        _plate("wall-over", np.array([x, y, z + b + far]), a, far),
    ]


def _bars(rng: np.random.Generator, middle: FloatArray, half: FloatArray) -> list[Part]:
    """Glazing bars, or slats of a blind over a share of the opening."""
    parts: list[Part] = []
    if rng.random() < 0.35:
        pitch = float(rng.uniform(45, 120))
        thick = pitch * float(rng.uniform(0.3, 0.75))
        drawn = float(rng.uniform(0.3, 1.0)) * 2 * half[1]
        for k in range(int(drawn / pitch)):
            at = middle + np.array([0.0, 0.0, half[1] - (k + 0.5) * pitch])
            parts.append(_plate(f"slat-{k}", at, half[0], thick / 2))
        return parts
    wide = float(rng.uniform(12, 45))
    for k, share in enumerate(np.linspace(-1, 1, int(rng.integers(2, 5)))[1:-1]):
        at = middle + np.array([share * half[0], 0.0, 0.0])
        parts.append(_plate(f"bar-up-{k}", at, wide, half[1]))
    for k, share in enumerate(np.linspace(-1, 1, int(rng.integers(2, 5)))[1:-1]):
        at = middle + np.array([0.0, 0.0, share * half[1]])
        parts.append(_plate(f"bar-across-{k}", at, half[0], wide))
    return parts


def _shaft(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """One or two strong lamps in deep shades beside the camera: hot spots with soft edges."""
    rng = np.random.default_rng(lamp.seed)
    parts: list[Part] = []
    for k in range(1 + int(lamp.turn > 0.7)):
        depth, wide = float(rng.uniform(160, 420)), float(rng.uniform(70, 150))
        z = float(camera.position_mm[2]) + depth + 60
        share = rng.uniform((0.12, 0.2), (0.88, 0.8))
        top = np.array([*(share * table.surface_mm), z])
        mouth = top + np.array([0.0, 0.0, -depth])
        parts.append(Part(name=f"shaft-{k}", shape=lathe(
            top + np.array([0.0, 0.0, 30.0]), mouth, ((0.0, 20.0), (0.02, wide), (1.0, wide)), 40,
        ), material=SHADE))  # fmt: skip
        glow = disc(top, wide * 0.9, [0, 0, -1.0], 40)
        hot = light_colour(lamp.kelvin, 240.0 * lamp.strength)
        parts.append(Part(name=f"shaft-glow-{k}", shape=glow, radiance=hot))
    return parts


def _strips(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """Coloured strips beyond the rails, each side with a colour of its own."""
    rng = np.random.default_rng(lamp.seed)
    parts: list[Part] = []
    middle = np.array([table.length_mm / 2, table.width_mm / 2, 0.0])
    base = float(rng.random())
    for k in range(int(rng.integers(1, 5))):
        colour = _saturated(base + rng.normal(0, 0.25), rng.uniform(0.4, 1.0))
        r, g, b = (90.0 * lamp.strength * v for v in colour)
        along, sign = k < 2, 1.0 if k % 2 else -1.0
        length = (table.length_mm if along else table.width_mm) * float(rng.uniform(0.15, 0.5))
        half_u = np.array([length, 0.0, 0.0]) if along else np.array([0.0, length, 0.0])
        reach = (table.width_mm if along else table.length_mm) * 0.55 + 200
        z = float(rng.uniform(350, 1500))
        for _ in range(60):
            out = np.array([0.0, sign * reach, z] if along else [sign * reach, 0.0, z])
            inward = -np.array([0.0, sign, 0.8] if along else [sign, 0.0, 0.8])
            half_v = _upright(half_u, inward) * 14.0
            if not in_view(camera, bar_points(middle + out, half_u, half_v)):
                break
            reach *= 1.05
        parts += lit_panel(f"strip-{k}", middle + out, half_u, half_v, (r, g, b))
    return parts


def _upright(half_u: FloatArray, inward: FloatArray) -> FloatArray:
    """The unit half axis with which a panel along ``half_u`` shines ``inward``."""
    v = np.cross(inward, half_u)
    return np.asarray(v / np.linalg.norm(v))


def _saturated(hue: float, saturation: float) -> Rgb:
    return colorsys.hsv_to_rgb(hue % 1.0, float(saturation), 1.0)


def _low_shade(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """A shade that hangs between camera and table and hides a part of the bed from it."""
    rng = np.random.default_rng(lamp.seed)
    z = float(rng.uniform(700, 1250))
    wide = float(rng.uniform(90, 230))
    share = np.array([rng.uniform(0.05, 0.95), rng.choice([rng.uniform(-0.1, 0.25),
                                                           rng.uniform(0.75, 1.1)])])  # fmt: skip
    at = np.array([*(share * table.surface_mm), z])
    colour = colorsys.hsv_to_rgb(float(rng.random()), float(rng.uniform(0, 0.7)),
                                 float(rng.uniform(0.05, 0.7)))  # fmt: skip
    return _hung(lamp, at, wide, colour, walls)


def _middle_shade(lamp: LampLook, table: Table, camera: Camera, walls: WallLook) -> list[Part]:
    """A wide shade over the middle of the width, at a share ``turn`` of the length."""
    at = np.array([lamp.turn * table.length_mm, table.width_mm / 2, lamp.height_mm])
    return _hung(lamp, at, MIDDLE_SHADE_MM, (0.12, 0.12, 0.13), walls)


def _hung(lamp: LampLook, at: FloatArray, wide: float, colour: Rgb, walls: WallLook) -> list[Part]:
    """A shade of that radius with its mouth there, its cord and its light."""
    cover = lathe(
        at + np.array([0.0, 0.0, wide * 0.9]), at,
        ((0.0, 25.0), (0.1, wide * 0.35), (1.0, wide)), 40,
    )  # fmt: skip
    cord = lathe(
        np.array([at[0], at[1], walls.ceiling_mm - 5]), at + np.array([0.0, 0.0, wide * 0.85]),
        ((0.0, 5.0), (1.0, 5.0)), 8,
    )  # fmt: skip
    glow = disc(at + np.array([0.0, 0.0, 20.0]), wide * 0.8, [0, 0, -1.0], 40)
    strength = 60.0 * lamp.strength * (150.0 / wide) ** 2 / 4
    return [
        Part(name="low-shade", shape=cover, material=Material(kind="gloss", colour=colour,
                                                              roughness=0.25)),
        Part(name="low-cord", shape=cord, material=SHADE),
        Part(name="low-glow", shape=glow, radiance=light_colour(lamp.kelvin, strength)),
    ]  # fmt: skip
