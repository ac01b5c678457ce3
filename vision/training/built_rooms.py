"""Rooms as joiners and electricians leave them: tables built to tolerance, lamps that change.

Recipe of stills for judging calibrations: each table's surface is off its named size within
3.2 mm, single sights are off their places, and cameras lean up to 30 degrees.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.seen.frozen_balls import PLACES, frozen_place_mm
from calibration.table import Table
from vision.training.scenes.batch import Job
from vision.training.scenes.describe.placing import random_turn
from vision.training.scenes.describe.room import (
    Room,
    Scene,
    draw_camera,
    draw_lamps,
    draw_room,
    draw_scene,
)
from vision.training.scenes.looks import PlacedBall

SURFACE_SIGMA_MM, SURFACE_LIMIT_MM = 1.6, 3.2
"""Surfaces are made within ±3.2 mm; makers aim at the middle."""
SIGHT_SCATTER_MM = 0.7
TILT_LIMIT_DEG = 30.0
BALL_CHECK_NAMES = ("cue", "1", "3", "5", "9", "11")


def built_room(seed: int) -> Room:
    """A room whose table is off its named size and whose camera may lean up to 30 degrees."""
    room = draw_room(seed)
    rng = np.random.default_rng((seed, 30))
    table = built_table(room.table, rng)
    head = str(rng.choice(["left", "right", "top", "bottom"], p=[0.4, 0.36, 0.12, 0.12]))
    camera = draw_camera(rng, table, head, tilt_limit_deg=TILT_LIMIT_DEG)
    ceiling_mm = float(camera.position_mm[2] + rng.uniform(150, 500))
    return replace(
        room,
        table=table,
        head=head,
        camera=camera,
        walls=replace(room.walls, ceiling_mm=ceiling_mm),
        rails=replace(room.rails, sight_scatter_mm=SIGHT_SCATTER_MM),
    )


def built_table(table: Table, rng: np.random.Generator) -> Table:
    """The table with length and width as they came out."""
    off = np.clip(rng.normal(0, SURFACE_SIGMA_MM, 2), -SURFACE_LIMIT_MM, SURFACE_LIMIT_MM)
    return replace(
        table,
        length_mm=round(table.length_mm + float(off[0]), 2),
        width_mm=round(table.width_mm + float(off[1]), 2),
    )


def built_jobs(seed: int, rooms: int) -> list[Job]:
    """An empty still of each room; every third room also with balls frozen for a ball check."""
    jobs = []
    for k in range(rooms):
        room = built_room(seed + k)
        jobs.append(Job(path=f"built/{k:03d}.jpg", scene=draw_scene(room, 2, count=0)))
        if k % 3 == 0:
            jobs.append(
                Job(path=f"built/{k:03d}-ball-check.jpg", scene=ball_check_scene(room, 3),
                    exposure_of=jobs[-1].path)
            )  # fmt: skip
    return jobs


def ball_check_scene(room: Room, seed: int) -> Scene:
    """Six balls frozen where a ball check wants them, some way along the cushion by eye."""
    rng = np.random.default_rng((room.seed, seed))
    balls = []
    for name, place in zip(BALL_CHECK_NAMES, PLACES, strict=True):
        x, y = frozen_place_mm(room.table, place)
        along = float(rng.normal(0, 12))
        lengthwise = place.split("-")[0] in ("left", "right")
        balls.append(
            PlacedBall(
                id=name, x_mm=x + along * lengthwise, y_mm=y + along * (not lengthwise),
                turn=random_turn(rng),
            )
        )  # fmt: skip
    return Scene(room=room, balls=tuple(balls), still_seed=seed)


def relit_jobs(seed: int, rooms: int) -> list[Job]:
    """Each room empty as calibrated, and with balls under lamps that were changed since."""
    jobs = []
    for k in range(rooms):
        room = built_room(seed + k)
        jobs.append(Job(path=f"relit/{k:03d}-empty.jpg", scene=draw_scene(room, 2, count=0)))
        scene = draw_scene(relit(room, k), 4, clutter=0.3)
        jobs.append(Job(path=f"relit/{k:03d}-relit.jpg", scene=scene))
    return jobs


def relit(room: Room, turn: int) -> Room:
    """The room with its second light off, with daylight added, or with other lamps."""
    rng = np.random.default_rng((room.seed, 31))
    others = draw_lamps(rng)
    if turn % 3 == 0 and len(room.lamps) > 1:
        return replace(room, lamps=room.lamps[:1])
    if turn % 3 == 1:
        window = replace(others[0], kind="window", kelvin=6300.0, strength=0.9)
        return replace(room, lamps=(*room.lamps, window))
    return replace(room, lamps=others)
