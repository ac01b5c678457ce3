"""Rendered markers lie where the recorded camera says, and a small still shows its truth.

Everything runs through mitsuba's plain variant: neither a graphics card nor LLVM is needed.
"""

from __future__ import annotations

import dataclasses

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.table import BALL_RADIUS_MM
from vision.training.practice_room import practice_room
from vision.training.scenes import assemble
from vision.training.scenes.describe.room import Scene
from vision.training.scenes.looks import PlacedBall, Thing
from vision.training.scenes.optics import lens_warp, render, sensor
from vision.training.scenes.values import Material, Panel, Part, Sphere

MARKER_TOLERANCE_PX = 0.05
"""Largest miss of a marker's centre of light; what is asked is 0.2 px."""
MARKER_HALF_PX = 2.6
SIZE_PX = (480, 270)


def cameras() -> list[Camera]:
    """Three cameras with strong lenses, tilts and principal points of their own."""
    out = []
    for place, up, focal, centre, lens in (
        ((1270.0, 600.0, 2600.0), (0.0, 1.0, 0.0), 330.0, (239.5, 134.5),
         (-0.25, 0.06, 0.001, -0.001, 0.0)),
        ((1900.0, 100.0, 2400.0), (0.1, -1.0, 0.0), 300.0, (252.3, 125.1),
         (-0.20, 0.05, -0.002, 0.002, 0.0)),
        ((900.0, 800.0, 3100.0), (-0.05, 1.0, 0.0), 390.0, (231.8, 143.6),
         (0.05, 0.0, 0.0015, 0.001, 0.0)),
    ):  # fmt: skip
        out.append(
            Camera.looking(
                position_mm=place, target_mm=(1270.0, 635.0, 0.0), up=up, image_size_px=SIZE_PX,
                focal_px=focal, centre_px=centre, distortion=lens,
            )
        )  # fmt: skip
    return out


@pytest.fixture(scope="module")
def plain() -> render.Renderer:
    return render.Renderer("scalar_rgb", max_depth=2)


def marker_places(camera: Camera) -> np.ndarray:
    """Places at three heights spread over the whole picture, apart from each other."""
    u, v = np.meshgrid(np.linspace(7, SIZE_PX[0] - 8, 9), np.linspace(7, SIZE_PX[1] - 8, 6))
    pixels = np.column_stack([u.ravel(), v.ravel()])
    heights = np.array([0.0, 28.575, 60.0])[np.arange(len(pixels)) % 3]
    flat = [camera.back_project(p[None], float(h))[0] for p, h in zip(pixels, heights, strict=True)]
    return np.column_stack([np.array(flat), heights])


def marker_halves_mm(camera: Camera, places: np.ndarray) -> np.ndarray:
    """Half edges that give every marker about the same size in the picture."""
    scale = [np.sqrt(abs(np.linalg.det(camera.jacobian(p[None, :2], p[2])[0]))) for p in places]
    return MARKER_HALF_PX / np.array(scale)


def light_centres(camera: Camera, places: np.ndarray) -> np.ndarray:
    """Where each square marker's centre of light falls: its points weighed by image area."""
    step = (np.arange(11) - 5) / 5.5
    offsets = np.stack(np.meshgrid(step, step), -1).reshape(-1, 2)
    out = []
    for (x, y, z), half in zip(places, marker_halves_mm(camera, places), strict=True):
        points = offsets * half + np.array([x, y])
        weight = np.abs(np.linalg.det(camera.jacobian(points, z)))
        px = camera.project(np.column_stack([points, np.full(len(points), z)]))
        out.append(weight @ px / weight.sum())
    return np.array(out)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_rendered_markers_lie_where_the_camera_says(plain: render.Renderer, which: int) -> None:
    camera = cameras()[which]
    places = marker_places(camera)
    halves = marker_halves_mm(camera, places)
    parts = [
        Part(
            name=f"m{k}",
            shape=Panel(
                centre_mm=(float(p[0]), float(p[1]), float(p[2])),
                half_u_mm=(float(half), 0.0, 0.0),
                half_v_mm=(0.0, float(half), 0.0),
            ),
            radiance=(1.0, 1.0, 1.0),
        )
        for k, (p, half) in enumerate(zip(places, halves, strict=True))
    ]  # fmt: skip
    pinhole = lens_warp.pinhole_for(camera)
    seen = plain.render(plain.build(parts), camera, pinhole, spp=36, seed=which)
    picture = lens_warp.warp(seen, lens_warp.warp_maps(camera, pinhole))[..., 1]
    wanted = light_centres(camera, places)
    miss = []
    for place in wanted:
        c, r = np.round(place).astype(int)
        part = picture[r - 6 : r + 7, c - 6 : c + 7]
        v, u = np.mgrid[r - 6 : r + 7, c - 6 : c + 7]
        found = np.array([(u * part).sum(), (v * part).sum()]) / part.sum()
        miss.append(found - place)
    assert len(miss) == 54
    assert np.abs(miss).max() < MARKER_TOLERANCE_PX
    assert np.abs(np.mean(miss, axis=0)).max() < MARKER_TOLERANCE_PX / 5


def small(camera: Camera, share: float) -> Camera:
    """The same view on fewer pixels."""
    width, height = (round(v * share) for v in camera.image_size_px)
    return dataclasses.replace(
        camera, image_size_px=(width, height), fx_px=camera.fx_px * share,
        fy_px=camera.fy_px * share, cx_px=(camera.cx_px + 0.5) * share - 0.5,
        cy_px=(camera.cy_px + 0.5) * share - 0.5,
    )  # fmt: skip


@pytest.fixture(scope="module")
def still() -> assemble.Still:
    """A small still of the practice room with four balls and an arm."""
    room = practice_room()
    room = dataclasses.replace(room, camera=small(room.camera, 0.2))
    scene = Scene(
        room=room,
        balls=(
            PlacedBall(id="cue", x_mm=700.0, y_mm=400.0),
            PlacedBall(id="3", x_mm=1270.0, y_mm=635.0),
            PlacedBall(id="8", x_mm=1900.0, y_mm=900.0),
            PlacedBall(id="1", x_mm=330.0, y_mm=900.0),
        ),
        things=(Thing(kind="arm", x_mm=300.0, y_mm=890.0, z_mm=40.0, turn_deg=0.0, seed=3),),
        obstructed=True,
        still_seed=4,
    )
    renderer = render.Renderer("scalar_rgb", max_depth=3)
    picture, visible = assemble.render_pinhole(scene, assemble.scene_parts(scene), renderer, 4)
    return assemble.finish(scene, picture, visible)


def test_a_small_still_shows_its_balls_and_truth(still: assemble.Still) -> None:
    data = assemble.develop_jpeg(still, gain=sensor.exposure_gain(still.linear))
    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert bgr.shape == (216, 384, 3)
    truth = assemble.truth_of(still)
    camera = Camera.from_dict(truth["camera"])
    seen = {}
    for ball in truth["balls"]:
        u, v = camera.project([[ball["x_mm"], ball["y_mm"], BALL_RADIUS_MM]])[0]
        patch = bgr[round(v) - 1 : round(v) + 2, round(u) - 1 : round(u) + 2]
        seen[ball["id"]] = patch.reshape(-1, 3).mean(axis=0)
    assert seen["cue"].min() > 140
    assert seen["3"][2] > 1.6 * seen["3"][:2].max()
    assert seen["8"].max() < 90
    assert truth["obstructed"]
    assert truth["head"] == "left"


def test_visible_shares_tell_what_hides_a_ball(still: assemble.Still) -> None:
    assert still.visible["cue"] > 0.99
    assert still.visible["3"] > 0.99
    assert still.visible["1"] < 0.6


def test_a_covered_ball_is_not_visible(plain: render.Renderer) -> None:
    camera = cameras()[0]
    lid = Part(
        name="lid",
        shape=Panel(centre_mm=(500.0, 500.0, 100.0), half_u_mm=(80.0, 0, 0),
                    half_v_mm=(0, 80.0, 0)),
        material=Material(),
    )  # fmt: skip
    balls = [(500.0, 500.0), (900.0, 500.0)]
    parts = [
        Part(name=f"b{k}", shape=Sphere(centre_mm=(x, y, BALL_RADIUS_MM), radius_mm=BALL_RADIUS_MM))
        for k, (x, y) in enumerate(balls)
    ]
    shares = render.visible_fractions(
        plain, plain.build([lid, *parts]), camera, balls, BALL_RADIUS_MM
    )
    assert shares == [0.0, 1.0]
