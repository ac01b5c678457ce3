"""Recipe of rooms with ball sets of their own colours, each seen several times.

They measure whether such a set is noticed, and how well it is named once it was taught. Every third
room has a usual set, so that false alarms are counted on the very same recipe; every third one has
strange colours on all seven paints, the others on two to five of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from vision.training.scenes.batch import Job
from vision.training.scenes.describe.room import draw_scene
from vision.training.scenes.describe.wide import wide_room
from vision.training.wide_sets import MEASURE_OFFSET

PAINTS = 7


def odd_jobs(seed: int, rooms: Iterable[int], each: int) -> list[Job]:
    """``each`` stills of every numbered room; the first two show all sixteen balls apart."""
    jobs = []
    for number in rooms:
        room = wide_room(MEASURE_OFFSET + seed + number, hard=number % 2 == 1)
        rng = np.random.default_rng((room.seed, 83))
        strange = (0, PAINTS, int(rng.integers(2, 6)))[number % 3]
        room = replace(room, balls=replace(room.balls, strange=strange))
        for k in range(each):
            whole = k < 2
            scene = draw_scene(
                room, 40 + k, count=16 if whole else None, style="scatter" if whole else None,
                clutter=0.3,
            )  # fmt: skip
            jobs.append(Job(path=f"odd-sets/{number:05d}-{k}.jpg", scene=scene))
    return jobs
