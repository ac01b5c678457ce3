"""Worlds: rooms of one family each, so that a family can be left out and measured as unseen.

A family says what is unusual of a room: its light, its darkness, its paint, its camera.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.table import Table
from vision.training.scenes.looks import BallLook, ClothLook, LampLook, SensorLook
from vision.training.scenes.paint.ball_texture import base_colour
from vision.training.scenes.values import Rgb, SceneError

from .room import Room
from .viewpoint import aim_camera
from .wide import wide_room

WORLD_KEY = 78
SIZES_PX = ((1280, 720), (1920, 1080), (2560, 1440))
SIZE_SHARES = (0.3, 0.55, 0.15)
STEEP_DEG = (22.0, 45.0)
COARSEST_PX_PER_MM = 0.42
"""A ball shows at least 24 pixels across in the middle of the table."""


def world_room(seed: int, family: str) -> Room:
    """The room of a seed in a family of ``FAMILIES``; the same seed gives the same room.

    Raises:
        SceneError: there is no such family.
    """
    if family not in FAMILIES:
        raise SceneError(
            f"family: got {family!r}; allowed: {', '.join(FAMILIES)}. Choose one of them."
        )
    rng = np.random.default_rng((seed, WORLD_KEY, *family.encode()))
    room = wide_room(seed, hard=bool(rng.random() < 0.5))
    return FAMILIES[family](rng, room)


def world_sensors(rng: np.random.Generator, count: int, *, family: str) -> tuple[SensorLook, ...]:
    """Other cameras for the same light: processed ones in ``camera``, poor ones elsewhere."""
    return tuple(
        processed_sensor(rng, strength=1.0 if family == "camera" else 0.45) for _ in range(count)
    )


def processed_sensor(rng: np.random.Generator, *, strength: float) -> SensorLook:
    """A phone's or web camera's picture; ``strength`` 0…1 says how far its faults go."""

    def some(share: float, most: float, least: float = 0.0) -> float:
        return float(rng.uniform(least, most) * strength) if rng.random() < share else 0.0

    return SensorLook(
        exposure=float(np.exp(rng.uniform(np.log(0.6), np.log(1.7)))),
        red_gain=float(np.exp(rng.normal(0, 0.09 * strength + 0.03))),
        blue_gain=float(np.exp(rng.normal(0, 0.11 * strength + 0.03))),
        blur_px=float(rng.uniform(0.3, 0.9 + 0.8 * strength)),
        sharpen=float(rng.uniform(0.0, 0.7 + 1.1 * strength)),
        noise=float(np.exp(rng.uniform(np.log(0.002), np.log(0.03)))),
        vignette=float(rng.uniform(0.0, 0.5)),
        saturation=float(rng.uniform(0.75, 1.1 + 0.35 * strength)),
        quality=int(rng.integers(30 if strength > 0.7 else 55, 96)),
        defocus_px=some(0.3, 2.4, 0.5), fringe=some(0.3, 0.0012, -0.0012), veil=some(0.3, 0.16),
        black=some(0.25, 0.08), contrast=some(0.4, 0.6), local_tone=some(0.35, 0.9),
        denoise=some(0.45, 1.0, 0.2), chroma_px=some(0.45, 4.5, 0.6), bands=some(0.25, 0.12),
        tint_slope=some(0.3, 0.14, -0.14),
    )  # fmt: skip


# -- light ---------------------------------------------------------------------------------


def _kelvin(rng: np.random.Generator) -> float:
    return float(rng.choice([2600, 2900, 3500, 4200, 5000, 6500]))


def _lamp(rng: np.random.Generator, kind: str, low: float, high: float) -> LampLook:
    """A lamp of that kind, its strength drawn evenly in its logarithm."""
    return LampLook(
        kind=kind, kelvin=_kelvin(rng) if kind != "sun" else float(rng.uniform(5000, 6200)),
        strength=float(np.exp(rng.uniform(np.log(low), np.log(high)))),
        height_mm=float(rng.uniform(1020, 1350)), turn=float(rng.random()),
        seed=int(rng.integers(2**31)),
    )  # fmt: skip


def _weaker(lamps: tuple[LampLook, ...], factor: float) -> tuple[LampLook, ...]:
    return tuple(replace(lamp, strength=lamp.strength * factor) for lamp in lamps)


def _sunny(rng: np.random.Generator, room: Room) -> Room:
    """Sun on the bed through a barred window, beside weaker lamps."""
    lamps = tuple(lamp for lamp in room.lamps if lamp.kind != "window")
    sun = _lamp(rng, "sun", 0.5, 4.0)
    return replace(room, lamps=(*_weaker(lamps, float(rng.uniform(0.25, 1.0))), sun))


def _hot(rng: np.random.Generator, room: Room) -> Room:
    """One or two strong lamps in deep shades; the rest nearly dark."""
    rest = _weaker(room.lamps, float(np.exp(rng.uniform(np.log(0.02), np.log(0.3)))))
    shafts = tuple(_lamp(rng, "shaft", 0.5, 2.0) for _ in range(int(rng.integers(1, 3))))
    shade = (_lamp(rng, "low-shade", 0.3, 1.5),) if rng.random() < 0.3 else ()
    return replace(room, lamps=(*rest, *shafts, *shade))


def _coloured(rng: np.random.Generator, room: Room) -> Room:
    """Coloured strips, and lamps of different whites."""
    rest = _weaker(room.lamps, float(np.exp(rng.uniform(np.log(0.08), np.log(0.8)))))
    mixed = tuple(replace(lamp, kelvin=_kelvin(rng)) for lamp in rest)
    return replace(room, lamps=(*mixed, _lamp(rng, "strips", 0.2, 1.6)))


def _dim(rng: np.random.Generator, room: Room) -> Room:
    """A dark bar: one weak warm lamp, a noisy camera that crushes its shadows."""
    kind = str(rng.choice(["pendants", "shaft", "side-panels", "frame"]))
    lamp = replace(_lamp(rng, kind, 0.5, 1.5), kelvin=float(rng.uniform(2300, 3400)))
    second = (_lamp(rng, "strips", 0.03, 0.3),) if rng.random() < 0.4 else ()
    # nobody plays where half the bed is black
    glimmer = _lamp(rng, "ceiling-panels", 0.02, 0.12)
    walls = replace(room.walls, wall_colour=_grey(rng, 0.05, 0.3), ceiling_colour=(0.1, 0.1, 0.1))
    sensor = replace(
        processed_sensor(rng, strength=0.6),
        exposure=float(np.exp(rng.uniform(np.log(0.25), np.log(1.0)))),
        noise=float(np.exp(rng.uniform(np.log(0.012), np.log(0.05)))),
        black=float(rng.uniform(0.0, 0.08)),
    )
    return replace(room, lamps=(lamp, *second, glimmer), walls=walls, sensor=sensor)


# -- paint ---------------------------------------------------------------------------------


def _grey(rng: np.random.Generator, low: float, high: float) -> Rgb:
    r, g, b = rng.uniform(low, high) * rng.normal(1, 0.05, 3)
    return (float(r), float(g), float(b))


def _any_cloth(rng: np.random.Generator, cloth: ClothLook) -> ClothLook:
    """Cloth of any colour from black to white, faded, at times printed."""
    hue, grey = rng.random(), rng.uniform(0.03, 0.85)
    saturation = float(rng.beta(1.2, 1.4))
    tint = 0.5 + 0.5 * np.cos(2 * math.pi * (hue + np.array([0.0, 1 / 3, 2 / 3])))
    r, g, b = np.clip(grey * ((1 - saturation) + saturation * 1.6 * tint), 0.015, 0.95)
    return replace(
        cloth, name="any", colour=(float(r), float(g), float(b)),
        mottle=float(rng.uniform(0.005, 0.06)), worn=float(rng.random()),
        print_share=float(rng.uniform(0.15, 0.9)) if rng.random() < 0.35 else 0.0,
    )  # fmt: skip


def _any_balls(rng: np.random.Generator, balls: BallLook) -> BallLook:
    """A faded, dirty or recoloured set."""
    return replace(
        balls, recolour=float(rng.random()) if rng.random() < 0.6 else 0.0,
        faded=float(rng.random()) if rng.random() < 0.5 else 0.0, ivory=float(rng.uniform(0, 2.2)),
        dust=float(rng.uniform(0, 1)), band_mm=float(rng.uniform(22, 36)),
        disc_mm=float(rng.uniform(13, 22)),
    )  # fmt: skip


def _painted(rng: np.random.Generator, room: Room) -> Room:
    """Any cloth and any set; now and then the cloth in a ball's own colour."""
    balls, cloth = _any_balls(rng, room.balls), _any_cloth(rng, room.cloth)
    if rng.random() < 0.3:
        cloth = _of_a_ball(rng, cloth, balls)
    return replace(room, balls=balls, cloth=cloth)


def _of_a_ball(rng: np.random.Generator, cloth: ClothLook, balls: BallLook) -> ClothLook:
    """The cloth in the colour of one ball of the set and its striped sister."""
    paint = np.asarray(base_colour(balls, int(rng.integers(1, 8))))
    r, g, b = np.clip(paint * rng.normal(1, 0.12), 0.02, 0.9)
    return replace(cloth, colour=(float(r), float(g), float(b)), print_share=0.0)


def _alike(rng: np.random.Generator, room: Room) -> Room:
    """A dark bar whose cloth has a ball's own colour: a striped one shows little but its white."""
    room = _dim(rng, room)
    return replace(room, cloth=_of_a_ball(rng, room.cloth, room.balls))


# -- camera --------------------------------------------------------------------------------


def _processed(rng: np.random.Generator, room: Room) -> Room:
    """A phone or a web camera of any resolution."""
    room = replace(room, sensor=processed_sensor(rng, strength=1.0))
    size = SIZES_PX[int(rng.choice(3, p=SIZE_SHARES))]
    return _filmed(room, _aimed(rng, room.table, room.head, size, (0.0, 20.0)))


def _steep(rng: np.random.Generator, room: Room) -> Room:
    """A camera on a wall, or a wide lens."""
    size = SIZES_PX[int(rng.choice(3, p=(0.15, 0.6, 0.25)))]
    return _filmed(room, _aimed(rng, room.table, room.head, size, STEEP_DEG))


def _filmed(room: Room, camera: Camera) -> Room:
    """The room with that camera in it: walls and ceiling give way where they must."""
    x, y, z = np.abs(camera.position_mm - [room.table.length_mm / 2, room.table.width_mm / 2, 0])
    walls = replace(
        room.walls, ceiling_mm=max(room.walls.ceiling_mm, float(z) + 150),
        half_length_mm=max(room.walls.half_length_mm, float(x) + 200),
        half_width_mm=max(room.walls.half_width_mm, float(y) + 200),
    )  # fmt: skip
    return replace(room, camera=camera, walls=walls)


def _aimed(
    rng: np.random.Generator, table: Table, head: str, size_px: tuple[int, int],
    tilt_deg: tuple[float, float],
) -> Camera:  # fmt: skip
    """A camera that leans within ``tilt_deg``, drawn again until its lens can be undone."""
    if head in ("top", "bottom"):
        size_px = (size_px[1], size_px[0])
    for _ in range(80):
        height = float(rng.uniform(1900, 3300))
        away = height * math.tan(math.radians(float(rng.uniform(*tilt_deg))))
        bearing = float(rng.uniform(0, 2 * math.pi))
        place = (
            table.length_mm / 2 + away * math.cos(bearing),
            table.width_mm / 2 + away * math.sin(bearing), height,
        )  # fmt: skip
        k1 = float(rng.uniform(-0.34, 0.06))
        bent = (k1, float(abs(k1) * rng.uniform(0.1, 0.35)), 0.0, 0.0, 0.0)
        try:
            camera = aim_camera(
                table, head, position_mm=place, image_size_px=size_px,
                fill=float(rng.uniform(0.82, 1.03)), roll_deg=float(rng.normal(0, 3.0)),
                centre_offset_px=(float(rng.normal(0, 15)), float(rng.normal(0, 15))),
                distortion=bent,
            )  # fmt: skip
        except (CalibrationError, ValueError):
            continue
        middle = np.array([[table.length_mm / 2, table.width_mm / 2, 0.0]])
        ends = camera.project(np.concatenate([middle, middle + np.array([[100.0, 0, 0]])]))
        if np.linalg.norm(ends[1] - ends[0]) / 100 >= COARSEST_PX_PER_MM:
            return camera
    raise SceneError(
        f"camera: got leans of {tilt_deg[0]:g}° to {tilt_deg[1]:g}° and found no camera whose "
        "lens can be undone; allowed: limits that leave one. Draw another seed."
    )


FAMILIES: dict[str, Callable[[np.random.Generator, Room], Room]] = {
    "sun": _sunny,
    "hot": _hot,
    "coloured": _coloured,
    "dim": _dim,
    "paint": _painted,
    "camera": _processed,
    "steep": _steep,
    "alike": _alike,
}
"""What is unusual of a room, by family."""
