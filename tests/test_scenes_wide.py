"""Wide rooms and scenes: what they hold, what is told of obstructed ones, sets made together."""

from __future__ import annotations

import argparse
import json
import math
from collections import Counter
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from vision.layout import BALL_IDS
from vision.training import dataset, wide_sets, workers
from vision.training.other_rooms import OTHER_STILLS, other_scene
from vision.training.scenes import assemble, batch
from vision.training.scenes.describe import beside, hindrance, placing, styles, wide
from vision.training.scenes.describe.room import Room, Scene, draw_room
from vision.training.scenes.looks import BallLook, PlacedBall, Thing
from vision.training.scenes.over import covered
from vision.training.scenes.over.arm import hand
from vision.training.scenes.over.people import POSES, limbs_of, player_limbs
from vision.training.scenes.paint.ball_texture import SCHEMES, base_colour
from vision.training.scenes.shapes.solids import as_mesh
from vision.training.scenes.values import Panel, Part, SceneError
from vision.truth.file import read_truth

ROOT = Path(__file__).parents[1]
TOUCH_TOLERANCE_MM = 0.1
"""Touching balls are drawn a hair apart."""
BOX_TOLERANCE_PX = covered.CELL_PX + 1.0
"""Boxes are found on whole cells."""
SMALL_PX = (96, 54)
SHAFT_SLACK_MM = 12.0
"""A shaft is up to 14.5 mm about its axis and drawn aslant; its tip is 6 mm."""
SHARE_TOLERANCE = 0.08
"""Three sigmas of a share of 0.22 over 320 stills."""


# -- seeds that are kept -------------------------------------------------------------------------


def test_rooms_of_the_samples_are_still_drawn_as_they_were() -> None:
    stills = read_truth(ROOT / "sample_frames" / "others")
    assert len(stills) == len(OTHER_STILLS)
    for still, truth in zip(OTHER_STILLS, stills.values(), strict=True):
        scene = other_scene(still)
        assert {(b.id, b.x_mm, b.y_mm) for b in truth.balls} == {
            (b.id, b.x_mm, b.y_mm) for b in scene.balls
        }
        told = json.loads(json.dumps(scene.to_dict()))
        for key in ("cloth", "lamps", "ball_set", "sensor", "things"):
            assert _without_neutral(told[key], truth.scene[key]) == truth.scene[key], key


def _without_neutral(told: Any, known: Any) -> Any:
    """A look without traits that came later, each of them switched off."""
    if isinstance(told, list):
        return [_without_neutral(a, b) for a, b in zip(told, known, strict=True)]
    later = set(told) - set(known)
    assert not any(told[name] for name in later), later
    return {name: value for name, value in told.items() if name not in later}


def test_a_seed_gives_one_wide_room_and_scene() -> None:
    assert wide.wide_room(5, hard=True) == wide.wide_room(5, hard=True)
    room = wide.wide_room(5, hard=False)
    assert wide.wide_scene(room, 3) == wide.wide_scene(room, 3)
    assert wide.wide_scene(room, 3) != wide.wide_scene(room, 4)
    assert room.table == draw_room(5, tilt_limit_deg=wide.TILT_LIMIT_DEG).table


# -- rooms ---------------------------------------------------------------------------------------


def test_poor_cameras_span_what_is_asked() -> None:
    rng = np.random.default_rng(0)
    drawn = [wide.draw_poor_sensor(rng) for _ in range(400)]
    for name, low, high in (
        ("exposure", 0.55, 1.6), ("red_gain", 0.88, 1.12), ("blue_gain", 0.88, 1.12),
        ("blur_px", 0.3, 1.6), ("noise", 0.002, 0.028), ("vignette", 0.0, 0.4),
        ("quality", 60, 95),
    ):  # fmt: skip
        values = [getattr(look, name) for look in drawn]
        assert low <= min(values) < low + 0.1 * (high - low), name
        assert high - 0.1 * (high - low) < max(values) <= high, name


def test_hard_rooms_have_every_ball_set_and_light_from_aside() -> None:
    rooms = [wide.wide_room(seed, hard=True) for seed in range(60)]
    assert {room.balls.scheme for room in rooms} == set(SCHEMES)
    kinds = Counter(lamp.kind for room in rooms for lamp in room.lamps)
    assert kinds["window"] >= 10
    assert kinds["hall-panels"] >= 3
    assert sum(room.cloth.worn > 0.5 for room in rooms) >= 20
    assert sum(room.balls.spotted_cue for room in rooms) >= 8


def test_lilac_sets_change_five_and_six_too() -> None:
    plain, lilac = (BallLook(scheme=name) for name in ("standard", "broadcast-lilac"))
    changed = {n for n in range(1, 9) if base_colour(plain, n) != base_colour(lilac, n)}
    assert changed == {4, 5, 6, 7}
    red, green, blue = base_colour(lilac, 13)
    assert blue > red > green
    assert sum(base_colour(lilac, 14)) > sum(base_colour(plain, 14)) + 0.2


# -- layouts -------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**31), count=st.integers(1, 16))
def test_varied_layouts_are_legal(seed: int, count: int) -> None:
    table = Table.from_surface("7ft")
    names = list(BALL_IDS[:count])
    balls = styles.draw_varied(table, np.random.default_rng(seed), names)
    assert sorted(b.id for b in balls) == sorted(names)
    placing.check_layout(table, balls)


@pytest.mark.parametrize("style", sorted(styles.STYLE_SHARES))
def test_each_style_shows_what_it_is_for(style: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        styles, "STYLE_SHARES", {name: float(name == style) for name in styles.STYLE_SHARES}
    )
    table = Table()
    frozen = jaws = touching = spots = 0
    for seed in range(8):
        balls = styles.draw_varied(table, np.random.default_rng(seed), BALL_IDS[:12])
        places = [(b.x_mm, b.y_mm) for b in balls]
        frozen += sum(
            abs(min(x, y, table.length_mm - x, table.width_mm - y) - FROZEN_INSET_MM) < 0.01
            for x, y in places
        )
        jaws += sum(any(placing.in_jaws(p, place) for p in table.pockets) for place in places)
        touching += sum(
            math.dist(a, b) < BALL_DIAMETER_MM + TOUCH_TOLERANCE_MM + 0.15
            for k, a in enumerate(places)
            for b in places[:k]
        )
        spots += sum(min(math.dist(a, s) for s in table.spots_mm.values()) < 150 for a in places)
    least = {
        "rows": frozen / 96 > 0.5, "jaws": jaws > 24, "tight": touching > 48,
        "rack": touching > 150, "spots": spots > 48, "cluster": touching > 20,
        "scatter": touching < 40,
    }  # fmt: skip
    assert least[style], (frozen, jaws, touching, spots)


# -- people and things ---------------------------------------------------------------------------


def test_people_are_built_of_sound_meshes() -> None:
    for kind, seed in (("player", 0), ("player", 1), ("player", 2), ("leaner", 1)):
        parts = assemble.parts_of(Thing(kind=kind, x_mm=300.0, y_mm=400.0, seed=seed))
        names = {part.name for part in parts}
        assert {"person-shirt", "person-trousers", "person-head", "person-hair"} <= names
        assert ("cue-ends" in names) or (kind, seed) != ("player", 1)
        for part in parts:
            mesh = as_mesh(part.shape)
            assert np.all(np.isfinite(mesh.vertices_mm)), part.name
            assert np.all(np.isfinite(mesh.normals)), part.name
            assert 0 < len(mesh.faces) < 60_000, part.name


def test_a_standing_player_is_as_tall_as_people_are() -> None:
    for seed in range(6):
        thing = Thing(kind="player", x_mm=0.0, y_mm=0.0, seed=seed)
        assert set(player_limbs(thing)) == {"shirt", "trousers", "skin", "head", "hair"}
        top = max(m.to_mm[2] + m.to_radius_mm for m in limbs_of(thing))
        assert 1500 < top + 770 < 2050
    assert len(POSES) == 3


def test_nothing_beside_the_table_covers_the_bed() -> None:
    seen: Counter[str] = Counter()
    for seed in range(20):
        room = wide.wide_room(seed, hard=True)
        scene = wide.wide_scene(room, 1, obstructed=False, busy=True)
        seen.update(thing.kind for thing in scene.things)
        for thing in scene.things:
            if thing.kind in ("player", "stool", "drink", "bag", "phone", "paper"):
                parts = assemble.parts_of(thing)
                boxes = covered.covered_boxes_px(parts, room.camera, room.table)
                assert boxes == [], (seed, thing)
    assert seen["player"] >= 6
    assert len(seen) >= 8


def test_a_player_is_refused_who_would_cover_the_bed() -> None:
    room = draw_room(3)
    inside = Thing(kind="player", x_mm=600.0, y_mm=-60.0, seed=0)
    far = Thing(kind="player", x_mm=600.0, y_mm=-2500.0, seed=0)
    assert covered.may_cover_bed(limbs_of(inside), room.camera, room.table)
    assert not covered.may_cover_bed(limbs_of(far), room.camera, room.table)
    assert not covered.in_picture(limbs_of(far), room.camera)


def test_a_player_stands_before_the_window_now_and_then() -> None:
    sides = Counter()
    rng = np.random.default_rng(4)
    room = wide.wide_room(11, hard=False)
    lamps = (replace(room.lamps[0], kind="window", turn=0.9),)
    for _ in range(30):
        thing = beside.draw_player(rng, room.table, room.camera, lamps)
        if thing is not None:
            sides["window" if thing.y_mm > room.table.width_mm else "other"] += 1
    assert sides["window"] > sides["other"]


# -- hindrances and where they are ---------------------------------------------------------------


def test_hindrances_of_every_kind_cover_bed_and_truth_says_where() -> None:
    kinds: Counter[str] = Counter()
    for seed in range(100, 124):
        room = wide.wide_room(seed, hard=False)
        scene = wide.wide_scene(room, 2, obstructed=True)
        thing = scene.things[-1]
        short = thing.kind == "arm" and thing.z_mm == room.table.rail_cap_height_mm
        kind = "short arm" if short else thing.kind
        kinds[kind] += 1
        if kinds[kind] > 2:
            continue
        boxes = assemble.obstruction_px(scene)
        assert boxes, (seed, thing)
        outline = room.camera.project(covered.bed_outline_mm(room.table))
        low, high = outline.min(axis=0), outline.max(axis=0)
        width, height = room.camera.image_size_px
        for left, top, right, bottom in boxes:
            assert max(low[0] - BOX_TOLERANCE_PX, -0.5) <= left < right
            assert right <= min(high[0] + BOX_TOLERANCE_PX, width - 0.5)
            assert max(low[1] - BOX_TOLERANCE_PX, -0.5) <= top < bottom
            assert bottom <= min(high[1] + BOX_TOLERANCE_PX, height - 0.5)
    assert set(kinds) == set(hindrance.SHARES)


def test_short_arms_reach_just_over_the_nose_line() -> None:
    table = Table()
    rng = np.random.default_rng(2)
    low, high = hindrance.SHORT_REACH_MM
    for _ in range(50):
        thing = hindrance._short_arm(rng, table, 5)
        inward = -min(
            thing.x_mm, table.length_mm - thing.x_mm, thing.y_mm, table.width_mm - thing.y_mm
        )
        assert low <= hindrance.FINGER_MM - inward <= high
        assert thing.z_mm == table.rail_cap_height_mm
    tip = max(limb.to_mm[0] for limb in hand(1.0))
    assert math.isclose(tip, hindrance.FINGER_MM, abs_tol=1.0)


def test_cue_tips_lie_on_the_rail_and_cover_bed() -> None:
    for seed in range(100, 112):
        room = wide.wide_room(seed, hard=False)
        table, rng = room.table, np.random.default_rng(seed)
        balls = styles.draw_varied(table, rng, BALL_IDS[:6])
        thing = hindrance.draw_hindrance(rng, table, balls, {"cue tip": 1.0})
        points = np.concatenate(
            [as_mesh(part.shape).vertices_mm for part in assemble.parts_of(thing)]
        )
        inside = np.minimum(points[:, :2], np.subtract(table.surface_mm, points[:, :2])).min(axis=1)
        low, high = hindrance.TIP_OVER_MM
        assert low - SHAFT_SLACK_MM < inside.max() < high + SHAFT_SLACK_MM
        assert points[:, 2].min() > table.rail_cap_height_mm - 1.0
        for ball in balls:
            centre = np.array([ball.x_mm, ball.y_mm, 28.575])
            assert np.linalg.norm(points - centre, axis=1).min() > 28.575, seed
        scene = Scene(room=room, things=(thing,), obstructed=True, still_seed=1)
        assert assemble.obstruction_px(scene), seed


def test_training_sees_more_that_is_hard_to_notice() -> None:
    rooms = [wide.wide_room(seed, hard=False) for seed in range(40)]
    scenes = [wide.wide_scene(room, k) for room in rooms for k in range(8)]
    share = np.mean([scene.obstructed for scene in scenes])
    assert math.isclose(share, wide.OBSTRUCTED_SHARE, abs_tol=SHARE_TOLERANCE)
    assert set(hindrance.TRAINING_SHARES) == {*hindrance.SHARES, "cue tip"}
    for shares in (hindrance.SHARES, hindrance.TRAINING_SHARES):
        assert math.isclose(sum(shares.values()), 1.0, abs_tol=1e-9)


def test_a_cue_on_the_bed_lies_between_the_balls() -> None:
    table = Table()
    for seed in range(30):
        rng = np.random.default_rng(seed)
        balls = styles.draw_varied(table, rng, BALL_IDS[:10])
        thing = hindrance._cue_over_bed(rng, table, balls, seed)
        points = np.concatenate(
            [as_mesh(part.shape).vertices_mm for part in assemble.parts_of(thing)]
        )
        assert points[:, 2].min() > -1.0
        for ball in balls:
            centre = np.array([ball.x_mm, ball.y_mm, 28.575])
            assert np.linalg.norm(points - centre, axis=1).min() > 28.575, seed


def test_boxes_are_where_the_camera_sees_them() -> None:
    room = draw_room(8)
    centre = (room.table.length_mm / 2, room.table.width_mm / 2, 40.0)
    plate = Part(
        name="plate", shape=Panel(centre_mm=centre, half_u_mm=(200.0, 0, 0), half_v_mm=(0, 90.0, 0))
    )
    corners = np.array(centre) + np.array(
        [[a * 200.0, b * 90.0, 0.0] for a in (-1, 1) for b in (-1, 1)]
    )
    pixels = room.camera.project(corners)
    wanted = [*pixels.min(axis=0), *pixels.max(axis=0)]
    boxes = covered.covered_boxes_px([plate], room.camera, room.table)
    assert len(boxes) == 1
    np.testing.assert_allclose(boxes[0], wanted, rtol=0, atol=BOX_TOLERANCE_PX)
    below = Part(name="below", shape=replace(plate.shape, centre_mm=(*centre[:2], -40.0)))
    assert covered.covered_boxes_px([below], room.camera, room.table) == []


# -- sets ----------------------------------------------------------------------------------------


def test_training_stills_are_as_varied_as_stated() -> None:
    jobs = wide_sets.train_jobs(70_000, range(40), 5)
    scenes = [job.scene for job in jobs]
    assert len({job.path for job in jobs}) == 200
    assert 12 <= sum(scene.obstructed for scene in scenes) <= 40
    assert {len(scene.balls) for scene in scenes} == set(range(1, 17))
    assert len({scene.room.cloth.name for scene in scenes}) >= 10


def test_measuring_stills_have_one_obstructed_and_one_busy_a_room() -> None:
    jobs = wide_sets.measure_jobs(90_000, range(1, 9, 2), 5)
    paths = [f"measure/00001-{k}.jpg" for k in ("empty", 0, 1)]
    assert [job.path for job in jobs[:3]] == paths
    empties, jobs = jobs[::6], [job for k, job in enumerate(jobs) if k % 6]
    assert not any(job.scene.balls or job.scene.obstructed for job in empties)
    assert [job.scene.obstructed for job in jobs] == [False, False, False, False, True] * 4
    extra = set(beside.ON_RAIL) | {"player"}
    assert all({t.kind for t in job.scene.things} & extra for job in jobs[::5])


def test_measuring_rooms_are_never_training_rooms() -> None:
    seeds = [
        {job.scene.room.seed for job in make(1000, range(5), 2)}
        for make in (wide_sets.train_jobs, wide_sets.measure_jobs)
    ]
    assert not seeds[0] & seeds[1]


def test_sets_asked_for_fall_to_workers_without_loss() -> None:
    given = argparse.Namespace(set="train+measure+dev", seed=300, rooms=4, each=2, families="")
    whole = {job.path for job in dataset.all_jobs(given, 0, 1)}
    parts = [{job.path for job in dataset.all_jobs(given, k, 3)} for k in range(3)]
    assert len(whole) == 28
    assert set.union(*parts) == whole
    assert sum(len(part) for part in parts) == len(whole)


def test_workers_share_whole_rooms() -> None:
    jobs = dataset.dev_jobs(100, 5, 2)
    parts = [workers.share_of(jobs, k, 2) for k in range(2)]
    assert sorted(job.path for part in parts for job in part) == [job.path for job in jobs]
    rooms = [{job.scene.room.seed for job in part} for part in parts]
    assert rooms == [{100, 102, 104}, {101, 103}]


@lru_cache
def small_room(seed: int) -> Room:
    """A room whose camera has few pixels."""
    room = draw_room(seed)
    while room.camera.image_size_px[0] < room.camera.image_size_px[1]:
        seed += 1000
        room = draw_room(seed)
    share = SMALL_PX[0] / room.camera.image_size_px[0]
    camera: Camera = replace(
        room.camera, image_size_px=SMALL_PX, fx_px=room.camera.fx_px * share,
        fy_px=room.camera.fy_px * share, cx_px=(room.camera.cx_px + 0.5) * share - 0.5,
        cy_px=(room.camera.cy_px + 0.5) * share - 0.5,
    )  # fmt: skip
    return replace(room, camera=camera)


def small_jobs(broken: int | None, total: int, worker: int, count: int) -> list[batch.Job]:
    """A still of each of ``total`` small rooms; ``broken`` has balls in each other."""
    jobs = []
    for number in range(worker, total, count):
        balls = (PlacedBall(id="cue", x_mm=700.0, y_mm=400.0),)
        if number == broken:
            balls += (PlacedBall(id="1", x_mm=705.0, y_mm=400.0),)
        scene = Scene(room=small_room(number), balls=balls, still_seed=number)
        jobs.append(batch.Job(path=f"small/{number}.jpg", scene=scene))
    return jobs


class NoCard:
    """Stands in for the renderer."""

    def render(self, scene: Scene, fineness: float) -> np.ndarray:
        pinhole = assemble.lens_warp.pinhole_for(scene.room.camera, fineness=fineness)
        return np.full((pinhole.height_px, pinhole.width_px, 3), 0.2, np.float32)


@pytest.fixture
def no_card(monkeypatch: pytest.MonkeyPatch) -> NoCard:
    """Rendering replaced by a grey picture."""

    def grey(scene, parts, renderer, spp, fineness):
        assert parts
        return renderer.render(scene, fineness), {b.id: 1.0 for b in scene.balls}

    monkeypatch.setattr(assemble, "render_pinhole", grey)
    return NoCard()


def test_a_still_that_fails_is_left_out_and_told(
    no_card: NoCard, capsys: pytest.CaptureFixture[str]
) -> None:
    effort = batch.Effort(spp=1, fineness=1.3, threads=2, keep_going=True)
    made = list(batch.run_jobs(small_jobs(1, 3, 0, 1), no_card, effort))
    assert [path for path, _, _ in made] == ["small/0.jpg", "small/2.jpg"]
    assert "small/1.jpg left out: SceneError: balls[1]: got 1" in capsys.readouterr().err
    with pytest.raises(SceneError, match=r"balls\[1\]: got 1 at .*overlaps cue"):
        list(batch.run_jobs(small_jobs(1, 3, 0, 1), no_card, replace(effort, keep_going=False)))


def test_a_locked_exposure_is_kept_from_its_still(no_card: NoCard) -> None:
    first, *others = small_jobs(None, 3, 0, 1)
    jobs = [first, *(replace(job, exposure_of=first.path) for job in others)]
    made = list(batch.run_jobs(jobs, no_card, batch.Effort(spp=1, threads=1)))
    assert len(made) == 3


def test_workers_write_folders_that_truth_readers_read(tmp_path: Path) -> None:
    crew = workers.Crew(
        out=tmp_path, workers=2, variant="scalar_rgb", limit_s=1e9, made_by={"seed": 0},
        effort=batch.Effort(spp=1, fineness=1.0, threads=1, keep_going=True),
    )  # fmt: skip
    assert workers.render_with_workers(crew, partial(small_jobs, 1, 2)) == 1
    stills = read_truth(tmp_path / "w00" / "small")
    assert list(stills) == ["0.jpg"]
    assert [ball.id for ball in stills["0.jpg"].balls] == ["cue"]
    picture = cv2.imread(str(tmp_path / "w00" / "small" / "0.jpg"))
    assert picture.shape == (SMALL_PX[1], SMALL_PX[0], 3)
    log = (tmp_path / "w01" / "log.txt").read_text(encoding="utf-8")
    assert "small/1.jpg left out: SceneError" in log


def test_a_limit_ends_a_run_with_its_truth_written(tmp_path: Path, no_card: NoCard) -> None:
    crew = workers.Crew(
        out=tmp_path, workers=1, variant="scalar_rgb", limit_s=0.0, made_by={"seed": 0},
        effort=batch.Effort(spp=1, threads=1),
    )  # fmt: skip
    workers.write_stills(small_jobs(None, 3, 0, 1), no_card, batch.FolderWriter(tmp_path), crew)
    assert list(read_truth(tmp_path / "small")) == ["0.jpg"]
