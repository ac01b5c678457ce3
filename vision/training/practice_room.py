"""The practice room of the sample stills: one table, one fixed camera, and its board poses."""

from __future__ import annotations

import math

import cv2
import numpy as np

from calibration.camera import Camera
from calibration.table import Table
from vision.training.scenes.describe.room import Room
from vision.training.scenes.describe.viewpoint import aim_camera
from vision.training.scenes.looks import (
    BallLook,
    BoardPose,
    ClothLook,
    FloorLook,
    LampLook,
    RailLook,
    SensorLook,
    WallLook,
)
from vision.training.scenes.paint.cloth import CLOTHS
from vision.training.scenes.shapes.boards import board_size_mm, to_table
from vision.training.scenes.values import FloatArray, SceneError

SEED = 20260
CAMERA_HEIGHT_MM = 2740.0
BOARD_MARGIN_PX = 6.0


def practice_room() -> Room:
    """The room: a 9 ft table, blue-green cloth, walnut rails, panel light, a webcam's lens."""
    table = Table()
    camera = aim_camera(
        table,
        "left",
        position_mm=(1315.0, 540.0, CAMERA_HEIGHT_MM),
        image_size_px=(1920, 1080),
        fill=0.93,
        roll_deg=0.7,
        centre_offset_px=(9.4, -6.8),
        distortion=(-0.168, 0.041, 0.0006, -0.0004, 0.0),
    )
    return Room(
        seed=SEED,
        table=table,
        head="left",
        camera=camera,
        cloth=ClothLook(
            name="blue-green", colour=CLOTHS["blue-green"], mottle=0.03, tracks=0.45, chalk=0.35,
            worn=0.4, spot_sticker=True, seed=11,
        ),
        rails=RailLook(
            material="wood", colour=(0.34, 0.20, 0.12), gloss=0.13, joints="mitre",
            sight="diamond", sight_size_mm=28.0, sight_colour=(0.88, 0.87, 0.82),
            trim_mm=8.0, trim_colour=(0.17, 0.12, 0.09), liner_colour=(0.24, 0.17, 0.12),
            outer_radius_mm=62.0, seed=12,
        ),
        floor=FloorLook(kind="boards", colour=(0.47, 0.33, 0.21), seed=13),
        walls=WallLook(
            half_length_mm=3300.0, half_width_mm=2500.0, ceiling_mm=3120.0,
            wall_colour=(0.72, 0.69, 0.64), ceiling_colour=(0.86, 0.86, 0.84),
        ),
        lamps=(
            LampLook(kind="side-panels", kelvin=4600.0, height_mm=1950.0, turn=0.3),
            LampLook(kind="ceiling-panels", kelvin=4600.0, strength=0.4, turn=0.8),
        ),
        balls=BallLook(shade=0.1, hue=0.2, ivory=0.25, gloss=0.03, dust=0.12, seed=14),
        sensor=SensorLook(
            exposure=1.22, red_gain=1.01, blue_gain=0.985, blur_px=0.55, sharpen=0.45,
            noise=0.0042, vignette=0.12, saturation=1.06, quality=92,
        ),
    )  # fmt: skip


_BOARD_PLAN: tuple[tuple[float, float, float, float, float, float], ...] = (
    # where in the picture (0…1 across, 0…1 down), distance mm, tilt deg, tilt's bearing, turn
    (0.50, 0.50, 900.0, 4.0, 40.0, 2.0),
    (0.13, 0.20, 1000.0, 20.0, 215.0, 88.0),
    (0.87, 0.20, 1000.0, 24.0, 320.0, 93.0),
    (0.13, 0.80, 1000.0, 22.0, 130.0, -86.0),
    (0.87, 0.80, 1000.0, 26.0, 50.0, 176.0),
    (0.50, 0.16, 1080.0, 30.0, 270.0, 91.0),
    (0.50, 0.85, 1080.0, 32.0, 90.0, -92.0),
    (0.12, 0.50, 900.0, 30.0, 180.0, 4.0),
    (0.88, 0.50, 900.0, 33.0, 0.0, -5.0),
    (0.33, 0.42, 820.0, 36.0, 140.0, 48.0),
    (0.68, 0.58, 820.0, 38.0, 310.0, -41.0),
    (0.52, 0.46, 1350.0, 40.0, 20.0, 20.0),
)


def board_poses(camera: Camera) -> list[BoardPose]:
    """Twelve poses that together cover the picture, every corner inside it."""
    return [_pose(camera, *plan) for plan in _BOARD_PLAN]


def _pose(
    camera: Camera, across: float, down: float, away_mm: float,
    tilt_deg: float, bearing_deg: float, turn_deg: float,
) -> BoardPose:  # fmt: skip
    """A board facing the camera, turned and tilted, drawn towards the middle until inside."""
    width, height = camera.image_size_px
    bearing = math.radians(bearing_deg)
    axis = np.array([-math.sin(bearing), math.cos(bearing), 0.0]) * math.radians(tilt_deg)
    local = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, math.radians(turn_deg)]))[0]
    rotation = camera.rotation.T @ local
    rvec = np.asarray(cv2.Rodrigues(rotation)[0], float).ravel()
    size = np.array([*board_size_mm(), 0.0])
    corners = np.array([[0, 0, 0], [size[0], 0, 0], [size[0], size[1], 0], [0, size[1], 0]])
    place = np.array([across, down])
    for _ in range(200):
        ray = camera.rays((place * [width, height])[None])[0]
        origin = camera.position_mm + ray * away_mm - rotation @ (size / 2)
        pose = BoardPose(origin_mm=_three(origin), rvec=_three(rvec))
        px = camera.project(to_table(pose, corners))
        low, high = px.min(axis=0), px.max(axis=0)
        if low.min() > BOARD_MARGIN_PX and np.all(
            high < np.array([width, height]) - BOARD_MARGIN_PX
        ):
            return pose
        place = place + 0.02 * (np.array([0.5, 0.5]) - place)
    raise SceneError(
        f"board: got a place {away_mm:g} mm from the camera where it does not fit the picture; "
        "allowed: wholly inside. Hold it farther away."
    )


def _three(vector: FloatArray) -> tuple[float, float, float]:
    a, b, c = vector
    return (float(a), float(b), float(c))
