"""Recipes of the worlds: families of rooms to train on, and of each rooms that measure it.

Seeds of rooms are ``seed + number``; rooms that measure lie beyond ``MEASURE_OFFSET`` as in the
wide sets.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from vision.training.scenes.batch import Job
from vision.training.scenes.describe.room import Room, draw_scene
from vision.training.scenes.describe.wide import wide_scene
from vision.training.scenes.describe.worlds import FAMILIES, world_room, world_sensors
from vision.training.wide_sets import MEASURE_OFFSET

SENSORS_EACH = 3
"""Other cameras that each still's light is developed with too."""


def world_jobs(
    seed: int, rooms: Iterable[int], each: int, families: Sequence[str] = tuple(FAMILIES)
) -> list[Job]:
    """``each`` stills of every numbered room, the families taking turns, each by four cameras."""
    jobs = []
    for number in rooms:
        family = families[number % len(families)]
        room = world_room(seed + number, family)
        rng = np.random.default_rng((room.seed, 79))
        jobs += [
            Job(
                path=f"{family}/{number:05d}-{k}.jpg", scene=wide_scene(_later(room, k), k),
                sensors=world_sensors(rng, SENSORS_EACH, family=family),
            )
            for k in range(each)
        ]  # fmt: skip
    return jobs


def held_jobs(
    seed: int, rooms: Iterable[int], each: int, families: Sequence[str] = tuple(FAMILIES)
) -> list[Job]:
    """Measuring rooms of every family, each with its empty table; the last still obstructed."""
    jobs = []
    for number in rooms:
        family = families[number % len(families)]
        room = world_room(MEASURE_OFFSET + seed + number, family)
        jobs.append(
            Job(path=f"{family}/{number:05d}-empty.jpg", scene=draw_scene(room, 2, count=0))
        )
        for k in range(each):
            last = each > 1 and k == each - 1
            scene = wide_scene(_later(room, k + 1), 100 + k, obstructed=last)
            jobs.append(Job(path=f"{family}/{number:05d}-{k}.jpg", scene=scene))
    return jobs


def _later(room: Room, k: int) -> Room:
    """The room at another time of the day: the sun has moved on, every third still."""
    if k % 3 == 0:
        return room
    lamps = tuple(
        replace(lamp, seed=lamp.seed + k) if lamp.kind == "sun" else lamp for lamp in room.lamps
    )
    return replace(room, lamps=lamps)
