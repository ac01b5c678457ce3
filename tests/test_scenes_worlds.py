"""Worlds: families of rooms, hard light, and what cameras do to a picture."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from vision.training.scenes.assemble import room_parts
from vision.training.scenes.describe.room import draw_room
from vision.training.scenes.describe.worlds import (
    FAMILIES,
    STEEP_DEG,
    processed_sensor,
    world_room,
    world_sensors,
)
from vision.training.scenes.looks import LampLook, SensorLook
from vision.training.scenes.optics.processing import lamp_faults, lens_faults, processed
from vision.training.scenes.paint.hard_light import SUN_AWAY_MM, hard_parts, sun_side
from vision.training.scenes.values import SceneError
from vision.training.wide_sets import MEASURE_OFFSET
from vision.training.world_sets import held_jobs, world_jobs

SEEDS = range(40, 48)


@pytest.fixture(scope="module")
def light() -> np.ndarray:
    rng = np.random.default_rng(3)
    return rng.uniform(0.05, 0.9, (90, 160, 3)).astype(np.float32)


def test_a_seed_gives_the_same_room_and_families_differ() -> None:
    rooms = {family: world_room(41, family) for family in FAMILIES}
    assert all(world_room(41, family) == room for family, room in rooms.items())
    assert len({repr(room) for room in rooms.values()}) == len(FAMILIES)
    with pytest.raises(SceneError, match=r"family: got 'moon'; allowed: sun, "):
        world_room(41, "moon")


@pytest.mark.parametrize("family", list(FAMILIES))
def test_every_family_shows_its_trait(family: str) -> None:
    rooms = [world_room(seed, family) for seed in SEEDS]
    kinds = [{lamp.kind for lamp in room.lamps} for room in rooms]
    if family == "sun":
        assert all("sun" in some and "window" not in some for some in kinds)
    if family == "hot":
        assert all("shaft" in some for some in kinds)
    if family == "coloured":
        assert all("strips" in some for some in kinds)
    if family == "dim":
        assert min(room.sensor.noise for room in rooms) >= 0.012
    if family == "paint":
        assert {room.cloth.name for room in rooms} == {"any"}
        assert any(room.cloth.print_share for room in rooms)
        assert any(room.balls.recolour for room in rooms)
    if family == "camera":
        assert len({room.camera.image_size_px for room in rooms}) > 1
    if family == "steep":
        for room in rooms:
            lean = np.degrees(np.arccos(-room.camera.rotation[2][2]))
            # aiming at the rails' middle turns the view off the drawn lean by a few degrees
            assert STEEP_DEG[0] - 8 < lean < STEEP_DEG[1] + 8


@pytest.mark.parametrize("family", ["camera", "steep"])
def test_cameras_stay_in_their_rooms(family: str) -> None:
    for seed in SEEDS:
        room = world_room(seed, family)
        x, y, z = room.camera.position_mm
        assert z < room.walls.ceiling_mm
        assert abs(x - room.table.length_mm / 2) < room.walls.half_length_mm
        assert abs(y - room.table.width_mm / 2) < room.walls.half_width_mm


def test_sun_shines_on_the_bed_through_the_wall_that_is_open() -> None:
    room = draw_room(5)
    sun = LampLook(kind="sun", turn=0.9, seed=11)
    assert sun_side((sun,)) == 1.0
    assert sun_side(room.lamps) is None
    parts = hard_parts(sun, room.table, room.camera, room.walls)
    disc = next(part for part in parts if part.name == "sun")
    middle = np.asarray(disc.shape.vertices_mm).mean(axis=0)  # type: ignore[union-attr]
    wall_y = room.table.width_mm / 2 + room.walls.half_width_mm
    assert middle[1] > wall_y
    assert middle[2] > 0
    assert np.linalg.norm(middle) > SUN_AWAY_MM / 2
    walls = {part.name for part in room_parts(replace(room, lamps=(sun,)))}
    # the wall at +y is left out: its plates stand for it
    assert {"wall-0", "wall-1", "wall-3", "wall-over"} <= walls
    assert "wall-2" not in walls


def test_a_camera_without_these_faults_leaves_the_picture_as_it_was(light: np.ndarray) -> None:
    look, rng = SensorLook(), np.random.default_rng(1)
    assert lens_faults(light, look) is light
    assert lamp_faults(light, look, rng) is light
    assert processed(light, look) is light


NEW_FAULTS = {
    "defocus_px": 1.5, "fringe": 0.001, "veil": 0.1, "black": 0.05, "contrast": 0.5,
    "local_tone": 0.6, "denoise": 0.8, "chroma_px": 2.0, "bands": 0.1, "tint_slope": 0.1,
}  # fmt: skip


@pytest.mark.parametrize(("fault", "amount"), NEW_FAULTS.items())
def test_every_fault_changes_the_picture_and_keeps_its_shape(
    light: np.ndarray, fault: str, amount: float
) -> None:
    look = replace(SensorLook(), **{fault: amount})
    seen = processed(lamp_faults(lens_faults(light, look), look, np.random.default_rng(2)), look)
    assert seen.shape == light.shape
    assert seen.dtype == np.float32
    assert np.abs(seen - light).max() > 1e-3
    assert np.isfinite(seen).all()


def test_processed_sensors_have_every_fault_among_many() -> None:
    rng = np.random.default_rng(7)
    many = [processed_sensor(rng, strength=1.0) for _ in range(80)]
    assert all(any(getattr(look, fault) for look in many) for fault in NEW_FAULTS)
    assert min(look.quality for look in many) < 45
    assert {field.name for field in fields(SensorLook)} >= set(NEW_FAULTS)
    assert len(world_sensors(rng, 3, family="camera")) == 3


def test_families_take_turns_and_measuring_rooms_are_others() -> None:
    jobs = world_jobs(900, range(2 * len(FAMILIES)), 2)
    assert [job.path.split("/")[0] for job in jobs[::2]] == [*FAMILIES, *FAMILIES]
    assert all(len(job.sensors) == 3 for job in jobs)
    held = held_jobs(900, range(len(FAMILIES)), 3)
    assert sum("-empty" in job.path for job in held) == len(FAMILIES)
    assert all(not job.scene.balls for job in held if "-empty" in job.path)
    assert all(job.scene.obstructed for job in held if job.path.endswith("-2.jpg"))
    assert min(job.scene.room.seed for job in held) >= MEASURE_OFFSET


def test_the_sun_moves_on_between_stills() -> None:
    jobs = world_jobs(900, range(1), 4, ["sun"])
    suns = [next(lamp for lamp in job.scene.room.lamps if lamp.kind == "sun") for job in jobs]
    assert suns[0] == suns[3]
    assert len({sun.seed for sun in suns}) == 3
