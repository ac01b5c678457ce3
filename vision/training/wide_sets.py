"""Recipes of the wide sets: what training sees, and what measures it on rooms it never saw.

Seeds of rooms are ``seed + number``; rooms that measure lie beyond an offset that no training
room reaches.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from vision.training.scenes.batch import Job
from vision.training.scenes.describe.room import draw_scene
from vision.training.scenes.describe.wide import draw_poor_sensor, wide_room, wide_scene
from vision.training.scenes.describe.worlds import world_sensors

HARD_OF_TEN = 7
"""Of ten training rooms so many are hard."""
MEASURE_OFFSET = 1_000_000_000
"""Measuring rooms' seeds begin here."""


def train_jobs(seed: int, rooms: Iterable[int], each: int) -> list[Job]:
    """``each`` stills of every numbered room, drawn by the stated shares, each by four cameras."""
    jobs = []
    for number in rooms:
        room = wide_room(seed + number, hard=number % 10 < HARD_OF_TEN)
        rng = np.random.default_rng((room.seed, 79))
        jobs += [
            Job(
                path=f"train/{number:05d}-{k}.jpg", scene=wide_scene(room, k),
                sensors=(draw_poor_sensor(rng), *world_sensors(rng, 2, family="wide")),
            )
            for k in range(each)
        ]  # fmt: skip
    return jobs


def measure_jobs(seed: int, rooms: Iterable[int], each: int) -> list[Job]:
    """Stills of numbered rooms, every other one hard: the first busy, the last obstructed.

    Each room's empty table comes before them, to calibrate by.
    """
    jobs = []
    for number in rooms:
        room = wide_room(MEASURE_OFFSET + seed + number, hard=number % 2 == 1)
        empty = draw_scene(room, 2, count=0)
        jobs.append(Job(path=f"measure/{number:05d}-empty.jpg", scene=empty))
        for k in range(each):
            scene = wide_scene(
                room, 100 + k, obstructed=each > 1 and k == each - 1, busy=True if k == 0 else None
            )
            jobs.append(Job(path=f"measure/{number:05d}-{k}.jpg", scene=scene))
    return jobs
