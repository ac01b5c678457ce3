"""The sample practice: twelve shots of a scenario of our own as layouts, intents, scenes.

``session.json`` holds, shot by shot, the intent and where the balls lie before and after.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np

from calibration.errors import FileFormatError
from vision.training.scenes.describe.placing import random_turn
from vision.training.scenes.describe.room import Room, Scene
from vision.training.scenes.looks import PlacedBall, Thing

FORMAT = ("restmark-scenario", 1)
Places = dict[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One attempt: what was wanted, and where the balls lie before and after (mm)."""

    intent: dict[str, Any]
    before_mm: Places
    after_mm: Places
    outcome: str


def read_session() -> list[Shot]:
    """The twelve shots.

    Raises:
        FileFormatError: the file is of another format or version.
    """
    data = json.loads(files(__package__).joinpath("session.json").read_text(encoding="utf-8"))
    if (data.get("format"), data.get("version")) != FORMAT:
        raise FileFormatError(
            f"session.json: got format {data.get('format')!r} version {data.get('version')!r}; "
            f"allowed: {FORMAT[0]!r} version {FORMAT[1]}. Restore the file."
        )
    return [
        Shot(
            intent=item["intent"],
            before_mm={name: (p[0], p[1]) for name, p in item["before_mm"].items()},
            after_mm={name: (p[0], p[1]) for name, p in item["after_mm"].items()},
            outcome=item["outcome"],
        )
        for item in data["shots"]
    ]


def placed(places: Places, seed: int) -> tuple[PlacedBall, ...]:
    """Balls at their places; a ball keeps its turn as long as it keeps its place."""
    balls = []
    for name, (x, y) in places.items():
        key = zlib.crc32(f"{name}:{x:.2f}:{y:.2f}".encode())
        turn = random_turn(np.random.default_rng((seed, key)))
        balls.append(PlacedBall(id=name, x_mm=x, y_mm=y, turn=turn))
    return tuple(balls)


def shot_scenes(room: Room, shots: list[Shot]) -> list[tuple[str, Scene, float]]:
    """File name, scene and exposure flicker of every still, before and after in turn."""
    rng = np.random.default_rng((room.seed, 3))
    out = []
    for number, shot in enumerate(shots, 1):
        for half, (word, places) in enumerate(
            (("before", shot.before_mm), ("after", shot.after_mm))
        ):
            scene = Scene(
                room=room,
                balls=placed(places, room.seed),
                things=_things(room, rng, number, half),
                still_seed=1000 + 2 * number + half,
            )
            flicker = float(1 + rng.normal(0, 0.006))
            out.append((f"shot-{number:02d}-{word}.jpg", scene, flicker))
    return out


_CHALK_MM = ((520.0, -88.0), (520.0, -88.0), (1820.0, 1362.0), (1790.0, 1350.0), (2645.0, 420.0))
_CUE_AFTER = {2, 5, 9}
"""Shots after which the cue lies on a rail for a while."""


def _things(room: Room, rng: np.random.Generator, number: int, half: int) -> tuple[Thing, ...]:
    """Chalk that moves now and then; after some shots the cue lies on a long rail."""
    cap = room.table.rail_cap_height_mm
    x, y = _CHALK_MM[(number + half) // 3 % len(_CHALK_MM)]
    turn = float(np.random.default_rng((number + half) // 3).uniform(0, 90))
    things = [Thing(kind="chalk", x_mm=x, y_mm=y, z_mm=cap, turn_deg=turn, seed=5)]
    if half == 1 and number in _CUE_AFTER:
        side = -112.0 if number % 2 else room.table.width_mm + 110.0
        things.append(
            Thing(
                kind="cue", x_mm=float(rng.uniform(300, 800)), y_mm=side, z_mm=cap + 15.2,
                turn_deg=float(rng.normal(0, 0.4)), lean_deg=-0.31, seed=8,
            )
        )  # fmt: skip
    return tuple(things)
