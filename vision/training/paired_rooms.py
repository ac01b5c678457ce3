"""Rooms with two cameras over one table, one at either end, and a lamp's shade between.

Every moment is rendered twice, by camera ``a`` at the head end and ``b`` at the foot end. The
shade hides a known share of the bed from each, never the same part. The last moment of a room is
seen by a second ``b`` too, which was knocked since its empty still: ``…-knocked-b.jpg``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import cv2
import numpy as np
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from vision.training.scenes.batch import Job
from vision.training.scenes.describe.room import Room, draw_room, draw_scene
from vision.training.scenes.describe.viewpoint import aim_camera
from vision.training.scenes.looks import LampLook
from vision.training.scenes.paint.hard_light import hard_parts
from vision.training.scenes.shapes.solids import as_mesh
from vision.training.scenes.values import FloatArray, SceneError

CAMERAS = ("a", "b")
AT_SHARE = {"a": 0.18, "b": 0.82}
"""How far along the table each hangs."""
SHADE_HEIGHT_MM = (850.0, 1050.0)
"""Of the shade's mouth: so about an eighth of the bed is hidden from each camera."""
KNOCK_MM, KNOCK_DEG = (2.0, 6.0), (0.05, 0.15)
"""How far a knocked camera is shifted and turned."""


def paired_rooms(
    seed: int, size_px: tuple[int, int] = (1920, 1080), *, shade: bool = True
) -> dict[str, Room]:
    """One room by each camera's eyes: all the same but the camera."""
    room = draw_room(seed, surface="9ft")
    rng = np.random.default_rng((seed, 51))
    cameras = {name: _camera(rng, room.table, name, size_px) for name in CAMERAS}
    top_mm = max(float(camera.position_mm[2]) for camera in cameras.values())
    walls = replace(room.walls, ceiling_mm=top_mm + float(rng.uniform(150, 400)))
    kelvin = float(rng.choice([3500, 4200, 5000]))
    # these hang above both cameras whichever looks
    lamps = (LampLook(kind="ceiling-panels", kelvin=kelvin, turn=float(rng.random())),)
    first = replace(room, head="left", camera=cameras["a"], walls=walls, lamps=lamps)
    if shade:
        height_mm = float(rng.uniform(*SHADE_HEIGHT_MM))
        between = LampLook(
            kind="middle-shade", kelvin=kelvin, strength=0.5, height_mm=height_mm, turn=0.5
        )
        first = replace(first, lamps=(*lamps, between))
    return {name: replace(first, camera=camera) for name, camera in cameras.items()}


def paired_jobs(seed: int, rooms: Iterable[int], each: int, width_px: int = 1920) -> list[Job]:
    """Each room's empty table and ``each`` moments, by both cameras, in pictures of 16:9."""
    jobs = []
    for number in rooms:
        by = paired_rooms(seed + number, (width_px, width_px * 9 // 16))
        for k in range(each + 1):
            for name, room in by.items():
                what = "empty" if k == 0 else f"{k}"
                scene = draw_scene(room, k, count=0 if k == 0 else None, style="scatter", clutter=0)
                # the noise of two cameras is not the same
                scene = replace(scene, still_seed=2 * k + CAMERAS.index(name))
                path = f"pairs/{number:04d}-{what}-{name}.jpg"
                empty = f"pairs/{number:04d}-empty-{name}.jpg"
                jobs.append(Job(path=path, scene=scene, exposure_of=None if k == 0 else empty))
        knocked = replace(scene, room=replace(by["b"], camera=knock(by["b"].camera, seed + number)))
        jobs.append(Job(path=f"pairs/{number:04d}-knocked-b.jpg", scene=knocked, exposure_of=empty))
    return jobs


def knock(camera: Camera, seed: int) -> Camera:
    """The camera after somebody's cue has touched it: shifted level, and turned a little."""
    rng = np.random.default_rng((seed, 53))
    bearing, axis = rng.uniform(0, 2 * math.pi), rng.normal(size=3)
    turn = math.radians(float(rng.uniform(*KNOCK_DEG))) * axis / np.linalg.norm(axis)
    shift = float(rng.uniform(*KNOCK_MM)) * np.array([math.cos(bearing), math.sin(bearing), 0.0])
    rotation = cv2.Rodrigues(turn)[0] @ camera.rotation
    place = camera.position_mm + shift
    return replace(
        camera,
        rvec=_three(np.asarray(cv2.Rodrigues(rotation)[0], dtype=float).ravel()),
        tvec_mm=_three(-rotation @ place),
    )


def _camera(rng: np.random.Generator, table: Table, name: str, size_px: tuple[int, int]) -> Camera:
    for _ in range(60):
        k1 = float(rng.uniform(-0.22, 0.0))
        place = (
            table.length_mm * (AT_SHARE[name] + float(rng.uniform(-0.04, 0.04))),
            table.width_mm * (0.5 + float(rng.uniform(-0.12, 0.12))),
            float(rng.uniform(2400, 2900)),
        )
        try:
            return aim_camera(
                table, "left", position_mm=place, image_size_px=size_px,
                fill=float(rng.uniform(0.88, 0.95)), roll_deg=float(rng.normal(0, 1.0)),
                centre_offset_px=(float(rng.normal(0, 10)), float(rng.normal(0, 10))),
                distortion=(k1, 0.2 * abs(k1), 0.0, 0.0, 0.0),
            )  # fmt: skip
        except CalibrationError:
            continue
    raise SceneError(
        f"camera {name}: got no lens that can be undone; allowed: a place that leaves one. "
        "Take another seed."
    )


def behind_mm(lamp: LampLook, room: Room, camera: Camera) -> BaseGeometry:
    """The part of the bed, at the height of ball centres, that the hung shade hides."""
    parts = hard_parts(lamp, room.table, camera, room.walls)
    shade = next(part for part in parts if part.name == "low-shade")
    points = np.asarray(as_mesh(shade.shape).vertices_mm, dtype=float)
    eye = camera.position_mm
    along = (eye[2] - BALL_CENTRE_HEIGHT_MM) / (eye[2] - points[:, 2])
    shadow = eye[:2] + (points[:, :2] - eye[:2]) * along[:, None]
    hull = Polygon(cv2.convexHull(shadow.astype(np.float32)).reshape(-1, 2))
    length_mm, width_mm = room.table.surface_mm
    return hull.intersection(box(0, 0, length_mm, width_mm))


def _three(vector: FloatArray) -> tuple[float, float, float]:
    x, y, z = vector
    return (float(x), float(y), float(z))
