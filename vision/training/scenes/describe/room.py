"""A room and a scene as frozen descriptions, and their seeded random drawing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.table import NAMED_SURFACES_MM, Table
from vision.training.scenes.looks import (
    BallLook,
    BoardPose,
    ClothLook,
    FloorLook,
    LampLook,
    PlacedBall,
    RailLook,
    SensorLook,
    Thing,
    WallLook,
    plain,
)
from vision.training.scenes.over.arm import draw_reach
from vision.training.scenes.paint.cloth import CLOTHS
from vision.training.scenes.values import Rgb, SceneError

from .clutter import draw_things
from .placing import draw_layout
from .viewpoint import aim_camera

PICTURE_PX = (1920, 1080)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """All that stays the same from still to still."""

    seed: int
    table: Table
    head: str
    camera: Camera
    cloth: ClothLook
    rails: RailLook
    floor: FloorLook
    walls: WallLook
    lamps: tuple[LampLook, ...]
    balls: BallLook
    sensor: SensorLook


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A room with what lies in it for one still."""

    room: Room
    balls: tuple[PlacedBall, ...] = ()
    things: tuple[Thing, ...] = ()
    board: BoardPose | None = None
    obstructed: bool = False
    still_seed: int = 0

    def to_dict(self) -> dict[str, Any]:
        """What truth files say about a scene beside its camera, table and balls."""
        room = self.room
        return {
            "seed": room.seed,
            "still_seed": self.still_seed,
            "cloth": plain(room.cloth),
            "rails": plain(room.rails),
            "floor": plain(room.floor),
            "walls": plain(room.walls),
            "lamps": [plain(lamp) for lamp in room.lamps],
            "ball_set": plain(room.balls),
            "sensor": plain(room.sensor),
            "things": [plain(thing) for thing in self.things],
        }


# -- drawing a room -------------------------------------------------------------------------

_WOODS: tuple[Rgb, ...] = (
    (0.42, 0.25, 0.14), (0.30, 0.16, 0.09), (0.55, 0.36, 0.20), (0.22, 0.13, 0.09),
    (0.46, 0.20, 0.12), (0.62, 0.45, 0.28), (0.36, 0.27, 0.20),
)  # fmt: skip


def draw_table(rng: np.random.Generator, surface: str | None = None) -> Table:
    """A table of a named size (drawn, or ``surface``) with its own small differences."""
    drawn = str(rng.choice(list(NAMED_SURFACES_MM), p=[0.5, 0.16, 0.17, 0.17]))
    name = surface or drawn
    return Table.from_surface(
        name,
        corner_mouth_mm=float(rng.uniform(110.0, 128.0)),
        side_mouth_mm=float(rng.uniform(125.0, 139.0)),
        corner_shelf_mm=float(rng.uniform(30.0, 50.0)),
        side_shelf_mm=float(rng.uniform(1.0, 9.0)),
        corner_cut_deg=float(rng.uniform(140.5, 143.0)),
        side_cut_deg=float(rng.uniform(102.5, 105.0)),
        nose_height_mm=float(rng.uniform(35.8, 36.8)),
        rail_cap_height_mm=float(rng.uniform(41.5, 47.0)),
        sight_offset_mm=float(rng.uniform(91.5, 96.0)),
        rail_width_mm=float(rng.uniform(128.0, 155.0)),
        cushion_width_mm=float(rng.uniform(47.6, 50.8)),
    )


def draw_cloth(rng: np.random.Generator) -> ClothLook:
    """A cloth of one of the colours, new to well worn."""
    name = str(rng.choice(list(CLOTHS)))
    r, g, b = np.clip(np.asarray(CLOTHS[name]) * rng.normal(1, 0.06, 3), 0.02, 0.95)
    worn = rng.random()
    return ClothLook(
        name=name,
        colour=(float(r), float(g), float(b)),
        mottle=float(rng.uniform(0.008, 0.03)),
        tracks=float(worn * rng.uniform(0.3, 1.0)),
        chalk=float(worn * rng.uniform(0.2, 1.0)),
        worn=float(worn * rng.uniform(0.2, 1.0)),
        spot_sticker=bool(rng.random() < 0.45),
        head_string=bool(rng.random() < 0.25),
        seed=int(rng.integers(2**31)),
    )


def draw_rails(rng: np.random.Generator) -> RailLook:
    """Rails of wood or laminate with matching sights, castings, trims and liners."""
    wood = rng.random() < 0.68
    base = _WOODS[int(rng.integers(len(_WOODS)))]
    shade = float(rng.uniform(0.08, 0.17))
    dark: Rgb = (shade, shade, shade)
    pearl: Rgb = (0.88, 0.87, 0.82) if rng.random() < 0.7 else (0.78, 0.72, 0.55)
    metal = rng.random() < 0.35
    casting: Rgb = (0.45, 0.45, 0.46) if metal else (0.05, 0.05, 0.055)
    round_sight = rng.random() < 0.6
    return RailLook(
        material="wood" if wood else "laminate",
        colour=base if wood else dark,
        gloss=float(rng.uniform(0.07, 0.25)),
        joints="casting" if rng.random() < 0.5 else "mitre",
        casting_colour=casting,
        casting_metal=metal,
        sight="round" if round_sight else "diamond",
        sight_size_mm=float(rng.uniform(11.1, 12.7) if round_sight else rng.uniform(25.4, 31.8)),
        sight_colour=pearl,
        trim_mm=float(rng.uniform(6, 11)) if rng.random() < 0.6 else 0.0,
        trim_colour=(0.45, 0.45, 0.46) if metal else (0.10, 0.07, 0.05),
        trim_metal=metal,
        liner_colour=(0.20, 0.19, 0.19) if rng.random() < 0.6 else (0.33, 0.21, 0.13),
        outer_radius_mm=float(rng.uniform(30, 95)),
        seed=int(rng.integers(2**31)),
    )


def draw_floor(rng: np.random.Generator) -> FloorLook:
    """Carpet, boards or concrete."""
    kind = str(rng.choice(["carpet", "boards", "concrete"]))
    colours: dict[str, list[Rgb]] = {
        "carpet": [(0.24, 0.24, 0.27), (0.30, 0.16, 0.14), (0.16, 0.20, 0.26), (0.35, 0.32, 0.27)],
        "boards": [(0.45, 0.31, 0.19), (0.58, 0.45, 0.31), (0.33, 0.23, 0.16)],
        "concrete": [(0.46, 0.46, 0.45), (0.36, 0.36, 0.37)],
    }
    options = colours[kind]
    colour = options[int(rng.integers(len(options)))]
    return FloorLook(kind=kind, colour=colour, seed=int(rng.integers(2**31)))


def draw_lamps(rng: np.random.Generator) -> tuple[LampLook, ...]:
    """A main lamp and often a weaker second light."""
    kind = str(rng.choice(["frame", "side-panels", "tubes", "ceiling-panels", "pendants"],
                          p=[0.28, 0.22, 0.18, 0.17, 0.15]))  # fmt: skip
    kelvin = float(rng.choice([2900, 3500, 4200, 5000, 5800, 6500]))
    main = LampLook(
        kind=kind, kelvin=kelvin, height_mm=float(rng.uniform(1020, 1350)),
        turn=float(rng.random()),
    )  # fmt: skip
    others = []
    if rng.random() < 0.35:
        others.append(
            LampLook(
                kind="window", kelvin=float(rng.uniform(5600, 7000)),
                strength=float(rng.uniform(0.3, 1.2)), turn=float(rng.random()),
            )
        )  # fmt: skip
    if kind in ("frame", "side-panels", "pendants") and rng.random() < 0.6:
        others.append(
            LampLook(
                kind="ceiling-panels", kelvin=kelvin,
                strength=float(rng.uniform(0.1, 0.5)), turn=float(rng.random()),
            )
        )  # fmt: skip
    return (main, *others)


def draw_balls(rng: np.random.Generator) -> BallLook:
    """A ball set."""
    return BallLook(
        scheme="broadcast" if rng.random() < 0.15 else "standard",
        shade=float(rng.uniform(-1, 1)),
        hue=float(rng.uniform(-1, 1)),
        ivory=float(rng.uniform(0, 1)),
        band_mm=float(rng.uniform(26.0, 32.0)),
        disc_mm=float(rng.uniform(15.5, 20.0)),
        spotted_cue=bool(rng.random() < 0.3),
        gloss=float(rng.uniform(0.02, 0.07)),
        dust=float(rng.uniform(0, 0.6)),
        seed=int(rng.integers(2**31)),
    )


def draw_sensor(rng: np.random.Generator) -> SensorLook:
    """A camera's faults."""
    return SensorLook(
        exposure=float(rng.uniform(1.0, 1.35)),
        red_gain=float(rng.normal(1, 0.035)),
        blue_gain=float(rng.normal(1, 0.045)),
        blur_px=float(rng.uniform(0.35, 0.85)),
        sharpen=float(rng.uniform(0.2, 0.8)),
        noise=float(rng.uniform(0.002, 0.007)),
        vignette=float(rng.uniform(0.03, 0.25)),
        saturation=float(rng.uniform(0.95, 1.15)),
        quality=int(rng.integers(83, 92)),
    )


def draw_camera(
    rng: np.random.Generator, table: Table, head: str, *, tilt_limit_deg: float
) -> Camera:
    """A camera above the table that sees it whole; drawn again until its lens can be undone.

    Raises:
        SceneError: none was found in sixty draws.
    """
    portrait = head in ("top", "bottom")
    size = (PICTURE_PX[1], PICTURE_PX[0]) if portrait else PICTURE_PX
    for _ in range(60):
        height = float(rng.uniform(2300, 3300))
        tilt = float(min(abs(rng.normal(0, tilt_limit_deg / 2)), tilt_limit_deg))
        bearing = float(rng.uniform(0, 2 * math.pi))
        away = height * math.tan(math.radians(tilt))
        place = (
            table.length_mm / 2 + away * math.cos(bearing),
            table.width_mm / 2 + away * math.sin(bearing),
            height,
        )
        k1 = float(rng.uniform(-0.25, 0.05))
        distortion = (
            k1, float(abs(k1) * rng.uniform(0.1, 0.3)), float(rng.normal(0, 6e-4)),
            float(rng.normal(0, 6e-4)), 0.0,
        )  # fmt: skip
        try:
            return aim_camera(
                table, head, position_mm=place, image_size_px=size,
                fill=float(rng.uniform(0.80, 0.95)), roll_deg=float(rng.normal(0, 1.0)),
                centre_offset_px=(float(rng.normal(0, 12)), float(rng.normal(0, 12))),
                distortion=distortion,
            )  # fmt: skip
        except CalibrationError:
            continue
    raise SceneError(
        f"camera: got a tilt limit of {tilt_limit_deg:g}° and no camera whose lens can be undone; "
        "allowed: limits that leave one. Lower the tilt limit."
    )


def draw_wall_colour(rng: np.random.Generator) -> Rgb:
    """A plain wall, light to middling, slightly tinted."""
    r, g, b = rng.uniform(0.45, 0.85) * rng.normal(1, 0.05, 3)
    return (float(r), float(g), float(b))


def draw_room(seed: int, *, tilt_limit_deg: float = 20.0, surface: str | None = None) -> Room:
    """A whole room from a seed: the same seed gives the same room."""
    rng = np.random.default_rng(seed)
    table = draw_table(rng, surface)
    head = str(rng.choice(["left", "right", "top", "bottom"], p=[0.46, 0.42, 0.06, 0.06]))
    camera = draw_camera(rng, table, head, tilt_limit_deg=tilt_limit_deg)
    walls = WallLook(
        half_length_mm=float(rng.uniform(2900, 4200)),
        half_width_mm=float(rng.uniform(2200, 3400)),
        ceiling_mm=float(camera.position_mm[2] + rng.uniform(150, 500)),
        wall_colour=draw_wall_colour(rng),
    )
    return Room(
        seed=seed, table=table, head=head, camera=camera, cloth=draw_cloth(rng),
        rails=draw_rails(rng), floor=draw_floor(rng), walls=walls, lamps=draw_lamps(rng),
        balls=draw_balls(rng), sensor=draw_sensor(rng),
    )  # fmt: skip


def draw_names(rng: np.random.Generator, count: int) -> list[str]:
    """Names of ``count`` balls, the cue ball among them nine times in ten."""
    names = [str(n) for n in rng.choice(np.arange(1, 16), size=min(count, 15), replace=False)]
    if count > 15 or rng.random() < 0.9:
        names = ["cue", *names[: count - 1]]
    return names


def draw_scene(room: Room, seed: int, *, count: int | None = None, style: str | None = None,
               clutter: float = 0.6, obstructed: bool = False) -> Scene:  # fmt: skip
    """Balls and things in a room from a seed; ``count`` 0 leaves the table empty.

    ``obstructed`` adds an arm that reaches over the bed.
    """
    rng = np.random.default_rng((room.seed, seed))
    number = int(rng.integers(5, 17)) if count is None else count
    chosen = style or str(rng.choice(["scatter", "cluster", "rack"], p=[0.7, 0.22, 0.08]))
    names = draw_names(rng, number) if number else []
    balls = draw_layout(room.table, rng, names, chosen) if names else ()
    things = draw_things(rng, room.table, clutter)
    if obstructed:
        x, y, turn = draw_reach(rng, room.table.length_mm, room.table.width_mm)
        arm = Thing(
            kind="arm", x_mm=x, y_mm=y, turn_deg=turn, seed=int(rng.integers(2**31)),
            z_mm=_clearance_mm(balls, x, y),
        )  # fmt: skip
        things = (*things, arm)
    return Scene(room=room, balls=balls, things=things, obstructed=obstructed, still_seed=seed)


def _clearance_mm(balls: tuple[PlacedBall, ...], x_mm: float, y_mm: float) -> float:
    """How far the hand is lifted: over balls that lie under it, else resting on the cloth."""
    near = any(math.hypot(b.x_mm - x_mm, b.y_mm - y_mm) < 190 for b in balls)
    return 62.0 if near else 0.0
