"""Scenes as descriptions: seeds, legal layouts, the table's geometry, textures, truth."""

from __future__ import annotations

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.seen.frozen_balls import SeenBall, frozen_marks
from calibration.table import BALL_RADIUS_MM, NAMED_SURFACES_MM, Table
from vision.layout import BALL_IDS
from vision.training import practice_room, session
from vision.training.built_rooms import SIGHT_SCATTER_MM, ball_check_scene, built_room
from vision.training.other_rooms import OTHER_STILLS, other_scene
from vision.training.scenes import batch
from vision.training.scenes.describe import placing
from vision.training.scenes.describe.room import draw_room, draw_scene
from vision.training.scenes.looks import (
    BallLook,
    BoardPose,
    LampLook,
    PlacedBall,
    RailLook,
    SensorLook,
    Thing,
)
from vision.training.scenes.optics import fireflies, lens_warp, sensor
from vision.training.scenes.over.arm import arm_parts
from vision.training.scenes.over.things import thing_parts
from vision.training.scenes.paint.ball_texture import COLOURS, FACE_PX, atlas_uv, ball_texture
from vision.training.scenes.paint.lamps import lamp_parts
from vision.training.scenes.shapes import table_mesh
from vision.training.scenes.shapes.boards import board_texture, charuco, corner_points_mm
from vision.training.scenes.shapes.pockets import outline
from vision.training.scenes.shapes.rails import sight_places_mm
from vision.training.scenes.shapes.solids import as_mesh, sphere_mesh
from vision.training.scenes.values import Material, Mesh, SceneError, Sphere

SAMPLES = Path(__file__).parent.parent / "sample_frames"
WARP_TOLERANCE_PX = 0.02
"""Centroids of drawn blobs through the warp: interpolation on the twice finer grid."""
ROUND_TOLERANCE_MM = 0.006
"""How far a ball's facets and corners may lie from the true sphere."""
GEOMETRY_TOLERANCE_MM = 1e-6
"""Meshes carry the table model's figures themselves."""


# -- seeds ----------------------------------------------------------------------------------


def test_a_seed_gives_one_room_and_one_scene() -> None:
    first, second = draw_room(77), draw_room(77)
    assert first == second
    assert draw_scene(first, 3) == draw_scene(second, 3)
    assert draw_room(78) != first
    assert draw_scene(first, 4) != draw_scene(first, 3)


def test_built_rooms_are_off_their_named_size_within_the_tolerance() -> None:
    rooms = [built_room(seed) for seed in range(12)]
    off = [
        min((abs(room.table.length_mm - length) for length, _ in NAMED_SURFACES_MM.values()))
        for room in rooms
    ]
    assert max(off) <= 3.2
    assert sum(value > 0.3 for value in off) >= 8
    moved = sight_places_mm(rooms[0].table, rooms[0].rails)
    true = rooms[0].table.sights_mm
    shift = [math.dist(moved[name], true[name]) for name in true]
    assert 0 < max(shift) < 2.9 * SIGHT_SCATTER_MM
    assert all(room.camera.position_mm[2] < room.walls.ceiling_mm for room in rooms)
    exact = draw_room(0)
    assert sight_places_mm(exact.table, exact.rails) == dict(exact.table.sights_mm)


def test_ball_check_stills_hold_balls_frozen_at_the_places() -> None:
    room = built_room(3)
    marks = frozen_marks(
        [
            SeenBall(
                centre_px=tuple(room.camera.project([[b.x_mm, b.y_mm, 28.575]])[0]),
                cov_px2=((0.01, 0.0), (0.0, 0.01)),
            )
            for b in ball_check_scene(room, 3).balls
        ],
        room.camera,
        room.table,
    )
    assert len(marks) == 6


def test_a_scene_tells_all_in_json() -> None:
    told = json.loads(json.dumps(draw_scene(draw_room(5), 1).to_dict()))
    assert {"seed", "still_seed", "cloth", "rails", "lamps", "ball_set", "sensor"} <= set(told)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**31), count=st.integers(1, 16),
       style=st.sampled_from(["scatter", "cluster", "rack"]))  # fmt: skip
def test_drawn_layouts_are_legal(seed: int, count: int, style: str) -> None:
    table = Table.from_surface("7ft")
    names = list(BALL_IDS[:count])
    balls = placing.draw_layout(table, np.random.default_rng(seed), names, style)
    assert sorted(b.id for b in balls) == sorted(names)
    placing.check_layout(table, balls)


def test_illegal_layouts_are_refused() -> None:
    table = Table()
    close = (PlacedBall(id="1", x_mm=500, y_mm=500), PlacedBall(id="2", x_mm=550, y_mm=500))
    with pytest.raises(SceneError, match=r"balls\[1\]: got 2 at .*overlaps 1; allowed: centres"):
        placing.check_layout(table, close)
    for place in ((20.0, 600.0), (-10.0, -10.0), (1270.0, -5.0)):
        with pytest.raises(SceneError, match=r"balls\[0\] \(1\): got .*where no ball can rest"):
            placing.check_layout(table, (PlacedBall(id="1", x_mm=place[0], y_mm=place[1]),))


def test_kinds_that_are_not_there_are_refused() -> None:
    room = draw_room(1)
    with pytest.raises(SceneError, match=r"material\.kind: got 'silk'; allowed: matt, cloth"):
        Material(kind="silk")
    with pytest.raises(SceneError, match=r"lamp\.kind: got 'candle'; allowed: frame, "):
        lamp_parts(LampLook(kind="candle"), room.table, room.camera, room.walls)
    with pytest.raises(SceneError, match=r"thing\.kind: got 'hat'; allowed: cue, chalk"):
        thing_parts(Thing(kind="hat", x_mm=0.0, y_mm=0.0))
    with pytest.raises(SceneError, match=r"mesh\.faces: got vertex 3 of 3"):
        Mesh(vertices_mm=np.zeros((3, 3)), faces=np.array([[0, 1, 3]]))


def test_things_are_built_of_sound_meshes() -> None:
    for kind in ("cue", "chalk", "rack", "bridge", "towel", "drink", "stool"):
        for part in thing_parts(Thing(kind=kind, x_mm=100.0, y_mm=200.0, z_mm=44.0, seed=3)):
            mesh = as_mesh(part.shape)
            assert np.all(np.isfinite(mesh.vertices_mm)), part.name
            assert np.all(np.isfinite(mesh.normals)), part.name
    arm = arm_parts(Thing(kind="arm", x_mm=100.0, y_mm=200.0, seed=3))
    assert {"hand", "sleeve"} <= {part.name for part in arm}
    hand = as_mesh(arm[0].shape)
    assert hand.vertices_mm[:, 2].min() > -6.0
    # normals point out of the body: away from its axis on average
    middle = hand.vertices_mm.mean(axis=0)
    assert np.einsum("ij,ij->i", hand.vertices_mm - middle, hand.normals).mean() > 0


def test_a_ball_rests_in_the_jaws_up_to_the_slate_cut() -> None:
    table = Table()
    pocket = table.pocket("foot-left")
    inward = np.asarray(pocket.inward)
    on_shelf = np.asarray(pocket.aim_mm) + 20.0 * inward
    over_drop = np.asarray(pocket.aim_mm) + (pocket.shelf_mm + 1.0) * inward
    assert placing.can_rest(table, (float(on_shelf[0]), float(on_shelf[1])))
    assert not placing.can_rest(table, (float(over_drop[0]), float(over_drop[1])))


def test_turns_are_rotations() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        matrix = placing.rotation(placing.random_turn(rng))
        np.testing.assert_allclose(matrix @ matrix.T, np.eye(3), rtol=0, atol=1e-12)
        assert math.isclose(float(np.linalg.det(matrix)), 1.0, abs_tol=1e-12)


# -- the table's geometry -------------------------------------------------------------------


@pytest.fixture(scope="module")
def parts() -> dict[str, object]:
    table = Table(nose_height_mm=36.1, rail_cap_height_mm=45.5)
    wood = np.full((4, 4, 3), 128, np.uint8)
    made = table_mesh.table_parts(table, RailLook(trim_mm=8.0), Material(), Material(), wood)
    return {"table": table, **{part.name: part for part in made}}


def test_noses_lie_on_the_nose_lines(parts) -> None:
    table = parts["table"]
    points = as_mesh(parts["cushions"].shape).vertices_mm
    x, y, z = points.T
    out = np.maximum.reduce([-x, x - table.length_mm, -y, y - table.width_mm])
    assert abs(out.min()) < GEOMETRY_TOLERANCE_MM
    np.testing.assert_allclose(
        z[out < 1e-6].mean(), table.nose_height_mm, rtol=0, atol=GEOMETRY_TOLERANCE_MM
    )
    assert math.isclose(z.max(), table.rail_cap_height_mm, abs_tol=GEOMETRY_TOLERANCE_MM)
    for a, b in table.nose_segments_mm.values():
        for end in (a, b):
            reach = np.linalg.norm(points - [*end, table.nose_height_mm], axis=1)
            assert reach.min() < GEOMETRY_TOLERANCE_MM


def test_sights_lie_on_the_rail_cap(parts) -> None:
    table = parts["table"]
    points = as_mesh(parts["sights"].shape).vertices_mm
    assert np.all(points[:, 2] == table.rail_cap_height_mm)
    owner = np.array(
        [
            min(table.sights_mm, key=lambda n: math.dist(table.sights_mm[n], p[:2]))
            for p in points[::3]
        ]
    )
    assert set(owner) == set(table.sights_mm)


@pytest.mark.parametrize("name", ["head-left", "side-right", "foot-right"])
def test_pockets_have_their_mouth_shelf_and_cut(name: str) -> None:
    table = Table()
    pocket = table.pocket(name)
    shape = outline(pocket, table)
    middle, inward = np.asarray(pocket.aim_mm), np.asarray(pocket.inward)
    depth = (np.asarray(shape.hole.exterior.coords) - middle) @ inward
    # the cut's nearest point is a vertex of a fine polygon
    assert math.isclose(float(depth.min()), pocket.shelf_mm, abs_tol=0.2)
    facing = shape.back_mm[0] - np.asarray(pocket.nose_points_mm[0])
    nose = np.asarray(pocket.nose_points_mm[1]) - np.asarray(pocket.nose_points_mm[0])
    if name.startswith("side"):
        turned = math.degrees(
            math.acos(facing @ nose / np.linalg.norm(facing) / np.linalg.norm(nose))
        )
        assert math.isclose(180 - turned, table.side_cut_deg, abs_tol=1e-6)
    assert shape.opening.is_valid
    assert shape.hole.intersects(shape.opening)


def test_bed_stays_out_of_the_drop(parts) -> None:
    table = parts["table"]
    mesh = as_mesh(parts["bed"].shape)
    assert np.all(mesh.vertices_mm[:, 2] == 0)
    corners = mesh.vertices_mm[mesh.faces][:, :, :2]
    middles = corners.mean(axis=1)
    for pocket in table.pockets:
        shape = outline(pocket, table)
        reach = np.linalg.norm(middles - shape.centre_mm, axis=1)
        assert reach.min() > 0.6 * shape.hole_radius_mm


def test_lamps_below_the_camera_stay_out_of_its_view() -> None:
    for seed in range(30, 42):
        room = draw_room(seed)
        width, height = room.camera.image_size_px
        for lamp in room.lamps:
            for part in lamp_parts(lamp, room.table, room.camera, room.walls):
                points = as_mesh(part.shape).vertices_mm
                seen = points @ room.camera.rotation.T + np.asarray(room.camera.tvec_mm)
                ahead = seen[seen[:, 2] > 1.0]
                reach = np.abs(
                    lens_warp.normalised(room.camera, lens_warp.border_px(room.camera))
                ).max(axis=0)
                inside = np.all(np.abs(ahead[:, :2] / ahead[:, 2:]) < reach * 0.98, axis=1)
                assert not inside.any(), (seed, part.name, width, height)


# -- lens and sensor ------------------------------------------------------------------------


def strong_camera(k1: float = -0.24) -> Camera:
    """A camera with strong distortion and an off-centre principal point."""
    return Camera.looking(
        position_mm=(900.0, 900.0, 2300.0), target_mm=(1250.0, 640.0, 0.0), up=(0.05, 1.0, 0.0),
        image_size_px=(480, 270), focal_px=300.0, centre_px=(251.0, 127.0),
        distortion=(k1, 0.05 if k1 < 0 else 0.0, 0.002, -0.0015, 0.0),
    )  # fmt: skip


@pytest.mark.parametrize("k1", [-0.24, 0.05])
def test_warp_puts_points_where_the_camera_says(k1: float) -> None:
    camera = strong_camera(k1)
    pinhole = lens_warp.pinhole_for(camera)
    points = np.array([[x, y, 30.0] for x in range(0, 2600, 320) for y in range(0, 1300, 260)])
    wanted = camera.project(points)
    inside = np.all((wanted > 8) & (wanted < np.array([471, 261])), axis=1)
    wanted = wanted[inside]
    flat = lens_warp.normalised(camera, wanted)
    drawn = np.zeros((pinhole.height_px, pinhole.width_px), np.float32)
    v, u = np.mgrid[0 : pinhole.height_px, 0 : pinhole.width_px] + 0.5
    for x, y in flat:
        cu = x * pinhole.focal_px + pinhole.width_px / 2
        cv_ = y * pinhole.focal_px + pinhole.height_px / 2
        drawn += np.exp(-((u - cu) ** 2 + (v - cv_) ** 2) / (2 * 3.0**2)).astype(np.float32)
    picture = lens_warp.warp(
        np.repeat(drawn[..., None], 3, 2), lens_warp.warp_maps(camera, pinhole)
    )[..., 0]
    assert len(wanted) >= 25
    for place in wanted:
        found = centroid(picture, place, 5)
        np.testing.assert_allclose(found, place, rtol=0, atol=WARP_TOLERANCE_PX)


def centroid(picture: np.ndarray, near_px: np.ndarray, half: int) -> np.ndarray:
    """Centre of light in a window about a pixel place."""
    c, r = np.round(near_px).astype(int)
    part = picture[r - half : r + half + 1, c - half : c + half + 1]
    v, u = np.mgrid[r - half : r + half + 1, c - half : c + half + 1]
    return np.array([(u * part).sum(), (v * part).sum()]) / part.sum()


def test_a_lens_that_cannot_be_undone_is_refused() -> None:
    camera = Camera.looking(
        position_mm=(1270.0, 635.0, 2300.0), target_mm=(1270.0, 635.0, 0.0), up=(0, 1.0, 0),
        image_size_px=(480, 270), focal_px=260.0, distortion=(-0.6, 0.0, 0.0, 0.0, 0.0),
    )  # fmt: skip
    with pytest.raises(CalibrationError, match=r"camera\.distortion: got .* undone over the whole"):
        lens_warp.pinhole_for(camera)


def test_sensor_noise_is_seeded_and_the_jpeg_decodes() -> None:
    picture = np.full((60, 80, 3), 0.2, np.float32)
    gain = sensor.exposure_gain(picture)
    looks = [
        sensor.develop(picture, SensorLook(), np.random.default_rng(s), gain=gain)
        for s in (1, 1, 2)
    ]
    np.testing.assert_array_equal(looks[0], looks[1])
    assert np.any(looks[0] != looks[2])
    data = sensor.jpeg(looks[0], 90)
    assert cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape == (60, 80, 3)


def test_exposure_holds_whites_and_middle() -> None:
    rng = np.random.default_rng(0)
    dark = np.full((200, 300, 3), 0.01, np.float32) * rng.uniform(0.8, 1.2, (200, 300, 1))
    gain = sensor.exposure_gain(dark.astype(np.float32))
    assert 0.08 < gain * 0.01 < 0.3
    dark[:60, :60] = 1.0
    assert sensor.exposure_gain(dark.astype(np.float32)) <= sensor.WHITE_LIMITS[0][1] * 1.01


def test_fireflies_go_and_highlights_stay() -> None:
    picture = np.full((40, 40, 3), 0.2, np.float32)
    picture[10, 10] = 30.0
    picture[20:23, 20:23] = 8.0
    out = fireflies.without_fireflies(picture)
    np.testing.assert_allclose(out[10, 10], 0.2, rtol=0, atol=1e-6)
    np.testing.assert_array_equal(out[20:23, 20:23], picture[20:23, 20:23])


# -- balls and board ------------------------------------------------------------------------


def test_ball_textures_show_solids_stripes_and_numbers() -> None:
    look = BallLook(ivory=0.0, dust=0.0)
    px = FACE_PX
    for number in (1, 3, 5, 9, 11):
        texture = ball_texture(look, str(number)).astype(float) / 255
        assert texture.shape == (2 * px, 3 * px, 3)
        # faces +x, -x, +y over -y, +z, -z: band on the first, number on the third
        equator = texture[px // 2, px // 2]
        pole = texture[px + px // 2, px + px // 2]
        colour = np.asarray(COLOURS[(number - 1) % 8 + 1])
        assert np.abs(equator - colour).max() < 0.12
        white = np.abs(pole - 0.92).max() < 0.06
        assert white == (number > 8)
        disc = texture[px // 2 - 12 : px // 2 + 12, 2 * px + px // 2 - 12 :][:, :24]
        assert disc.max() > 0.85
        assert disc.min() < 0.15


def test_sphere_mesh_is_round_and_its_uv_stay_in_the_balls_tile() -> None:
    mesh = sphere_mesh(Sphere(centre_mm=(10.0, 20.0, 30.0), radius_mm=BALL_RADIUS_MM))
    reach = np.linalg.norm(mesh.vertices_mm - [10.0, 20.0, 30.0], axis=1)
    middles = mesh.vertices_mm[mesh.faces].mean(axis=1)
    inner = np.linalg.norm(middles - [10.0, 20.0, 30.0], axis=1)
    assert reach.max() - BALL_RADIUS_MM < ROUND_TOLERANCE_MM
    assert BALL_RADIUS_MM - inner.min() < ROUND_TOLERANCE_MM
    corners = mesh.vertices_mm[mesh.faces]
    outward = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(outward, axis=1) / 2
    assert area.min() > 0.1 * area.max()
    assert np.all(np.einsum("ij,ij->i", outward, middles - [10.0, 20.0, 30.0]) > 0)
    uv = atlas_uv(mesh.uv, "5")
    assert np.all((uv > [0.25, 0.25]) & (uv < [0.5, 0.5]))


def test_board_texture_is_read_by_opencv_at_its_corners() -> None:
    gray = cv2.cvtColor(board_texture()[::4, ::4].copy(), cv2.COLOR_RGB2GRAY)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(charuco()).detectBoard(gray)
    assert ids is not None
    assert len(ids) == 54
    expected = charuco().getChessboardCorners()[ids.ravel(), :2] * 2 + 18 * 2 - 0.5
    # half a texel of the thinned-out texture
    np.testing.assert_allclose(corners.reshape(-1, 2), expected, rtol=0, atol=0.5)


def test_board_pose_moves_its_corners() -> None:
    pose = BoardPose(origin_mm=(100.0, 200.0, 300.0), rvec=(math.pi, 0.0, 0.0))
    np.testing.assert_allclose(corner_points_mm(pose)[0], [140.0, 160.0, 300.0], rtol=0, atol=1e-9)


# -- the samples' scenario ------------------------------------------------------------------


def test_board_poses_fill_the_picture_to_its_corners() -> None:
    camera = practice_room.practice_room().camera
    poses = practice_room.board_poses(camera)
    assert len(poses) == 12
    seen = np.concatenate([camera.project(corner_points_mm(p)) for p in poses])
    width, height = camera.image_size_px
    cells = {(int(u // (width / 4)), int(v // (height / 3))) for u, v in seen}
    assert len(cells) == 12
    away = [np.linalg.norm(corner_points_mm(p).mean(0) - camera.position_mm) for p in poses]
    assert min(away) > 700
    assert max(away) < 1800


def test_session_holds_what_a_practice_can_bring() -> None:
    shots = session.read_session()
    table = practice_room.practice_room().table
    assert len(shots) == 12
    for shot in shots:
        for places in (shot.before_mm, shot.after_mm):
            placing.check_layout(table, session.placed(places, 1))
    outcomes = [shot.outcome for shot in shots]
    assert {"miss", "scratch", "nudge"} <= set(outcomes)
    scratch = shots[outcomes.index("scratch")]
    assert "cue" in scratch.before_mm
    assert "cue" not in scratch.after_mm
    missed = shots[outcomes.index("miss")]
    assert missed.intent["pot"] in missed.after_mm
    jaws = [
        any(placing.in_jaws(p, place) for p in table.pockets)
        for shot in shots for place in shot.before_mm.values()
    ]  # fmt: skip
    assert any(jaws)


def test_unmoved_balls_keep_their_turn() -> None:
    shots = session.read_session()
    scenes = session.shot_scenes(practice_room.practice_room(), shots)
    assert [name for name, _, _ in scenes[:2]] == ["shot-01-before.jpg", "shot-01-after.jpg"]
    before, after = ({b.id: b for b in scene.balls} for _, scene, _ in scenes[:2])
    still = [n for n in after if after[n].x_mm == before[n].x_mm and n != "cue"]
    assert still
    assert all(after[n].turn == before[n].turn for n in still)
    assert after["cue"].turn != before["cue"].turn


def test_other_rooms_are_varied() -> None:
    scenes = [other_scene(still) for still in OTHER_STILLS]
    assert len(scenes) == 12
    assert {s.surface for s in OTHER_STILLS} == {"9ft", "pro8", "8ft", "7ft"}
    assert len({scene.room.cloth.name for scene in scenes}) >= 8
    assert sum(scene.obstructed for scene in scenes) >= 2
    assert all(5 <= len(scene.balls) <= 16 for scene in scenes)
    lamps = {lamp.kind for scene in scenes for lamp in scene.room.lamps}
    assert lamps >= {"frame", "tubes", "ceiling-panels", "pendants", "side-panels"}


# -- tars -----------------------------------------------------------------------------------


def test_tars_stay_below_their_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch, "TAR_LIMIT_BYTES", 20_000)
    writer = batch.TarWriter(tmp_path, "s")
    for k in range(5):
        writer.add(f"a/{k}.bin", bytes(9_000))
    writer.close()
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "s-0.tar",
        "s-1.tar",
        "s-2.tar",
        "s-3.tar",
        "s-4.tar",
    ]


@pytest.mark.parametrize("folder", ["practice/shots", "others"])
def test_every_sample_ball_lies_where_a_ball_can_rest(folder: str) -> None:
    truth = json.loads((SAMPLES / folder / "truth.json").read_text(encoding="utf-8"))
    for name, still in truth["stills"].items():
        table = Table.from_dict(still["table"])
        for ball in still["balls"]:
            assert placing.can_rest(table, (ball["x_mm"], ball["y_mm"])), (
                f"{name} ball {ball['id']}"
            )


@pytest.mark.parametrize(
    ("place_mm", "why"),
    [
        ((2002.5, 1254.5), "cuts into the left cushion beside the side pocket"),
        ((2576.3, 172.7), "lies behind the foot cushion"),
        ((1270.0, 1275.0), "hangs over the side pocket's drop"),
    ],
)
def test_no_ball_rests_in_a_cushion_or_in_air(place_mm: tuple[float, float], why: str) -> None:
    assert not placing.can_rest(Table(), place_mm), why


def test_a_ball_rests_in_a_corner_pocket_jaws() -> None:
    assert placing.can_rest(Table(), (30.0, 30.0))
