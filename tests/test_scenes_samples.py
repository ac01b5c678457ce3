"""The committed sample stills agree with their truth, and hold what they should."""

from __future__ import annotations

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, FROZEN_INSET_MM, Table
from vision.training.practice_room import practice_room
from vision.training.scenes.describe import placing
from vision.training.scenes.looks import BoardPose, PlacedBall
from vision.training.scenes.shapes.boards import BOARD_TRUTH, charuco, corner_points_mm
from vision.training.session import read_session

ROOT = Path(__file__).parents[1] / "sample_frames"
FOLDERS = ("practice", "practice/boards", "practice/shots", "others")
CORNER_LIMIT_PX = 0.2
"""Farthest a found ChArUco corner may lie from where the recorded camera puts it."""
CORNER_MEDIAN_PX = 0.06
"""Measured median 0.04 px: the finder's own noise on these stills."""
SIZE_LIMIT_BYTES = 25_000_000
TOUCH_SLACK_MM = 0.1


def truth(folder: str) -> dict[str, dict]:
    return json.loads((ROOT / folder / "truth.json").read_text(encoding="utf-8"))["stills"]


def test_folders_hold_their_stills() -> None:
    counts = {folder: len(list((ROOT / folder).glob("*.jpg"))) for folder in FOLDERS}
    assert counts == {"practice": 1, "practice/boards": 12, "practice/shots": 24, "others": 12}
    for folder in FOLDERS:
        assert set(truth(folder)) == {p.name for p in (ROOT / folder).glob("*.jpg")}
    assert sum(p.stat().st_size for p in ROOT.rglob("*.jpg")) < SIZE_LIMIT_BYTES


def test_truth_says_it_was_rendered_and_how() -> None:
    for folder in FOLDERS:
        data = json.loads((ROOT / folder / "truth.json").read_text(encoding="utf-8"))
        assert (data["format"], data["version"]) == ("restmark-truth", 1)
        assert data["made_by"]["how"].startswith("rendered with mitsuba")
        assert data["made_by"]["recipe"].startswith("python -m vision.training.sample_frames")


def test_board_corners_lie_where_the_recorded_camera_says() -> None:
    misses, found = [], 0
    for name, entry in truth("practice/boards").items():
        gray = cv2.imread(str(ROOT / "practice/boards" / name), cv2.IMREAD_GRAYSCALE)
        assert gray.shape == (1080, 1920)
        corners, ids, _, _ = cv2.aruco.CharucoDetector(charuco()).detectBoard(gray)
        if ids is None or len(ids) < 20:
            continue
        found += 1
        refined = cv2.cornerSubPix(gray, corners, (7, 7), (-1, -1), (3, 60, 1e-4)).reshape(-1, 2)
        board = entry["board"]
        assert {key: board[key] for key in BOARD_TRUTH} == BOARD_TRUTH
        pose = BoardPose(origin_mm=tuple(board["origin_mm"]), rvec=tuple(board["rvec"]))
        camera = Camera.from_dict(entry["camera"])
        wanted = camera.project(corner_points_mm(pose)[ids.ravel()])
        misses.append(np.hypot(*(refined - wanted).T))
    assert found >= 10
    every = np.concatenate(misses)
    assert float(np.median(every)) < CORNER_MEDIAN_PX
    assert float(every.max()) < CORNER_LIMIT_PX


@pytest.mark.parametrize("folder", ["practice/shots", "others"])
def test_balls_lie_where_balls_can_and_are_seen(folder: str) -> None:
    for name, entry in truth(folder).items():
        table = Table.from_dict(entry["table"])
        balls = [PlacedBall(id=b["id"], x_mm=b["x_mm"], y_mm=b["y_mm"]) for b in entry["balls"]]
        placing.check_layout(table, balls)
        size = cv2.imread(str(ROOT / folder / name)).shape[:2]
        assert sorted(size) == [1080, 1920]
        width, height = Camera.from_dict(entry["camera"]).image_size_px
        assert size == (height, width)
        if not entry["obstructed"]:
            assert min(b["visible"] for b in entry["balls"]) > 0.5


def test_practice_has_one_fixed_camera() -> None:
    camera = practice_room().camera
    for folder in FOLDERS[:3]:
        for entry in truth(folder).values():
            recorded = Camera.from_dict(entry["camera"])
            np.testing.assert_allclose(recorded.matrix, camera.matrix, rtol=0, atol=1e-6)
            np.testing.assert_allclose(recorded.tvec_mm, camera.tvec_mm, rtol=0, atol=1e-6)


def test_shots_are_the_scenario() -> None:
    stills = truth("practice/shots")
    shots = read_session()
    plan = json.loads((ROOT / "practice/shots/plan.json").read_text(encoding="utf-8"))
    assert plan == {"shots": [shot.intent for shot in shots]}
    for number, shot in enumerate(shots, 1):
        for word, places in (("before", shot.before_mm), ("after", shot.after_mm)):
            balls = stills[f"shot-{number:02d}-{word}.jpg"]["balls"]
            assert {b["id"]: (b["x_mm"], b["y_mm"]) for b in balls} == places


def test_session_shows_a_touching_pair_a_frozen_ball_and_one_in_the_jaws() -> None:
    touching = frozen = jaws = False
    for entry in truth("practice/shots").values():
        table = Table.from_dict(entry["table"])
        places = [(b["x_mm"], b["y_mm"]) for b in entry["balls"]]
        for k, (x, y) in enumerate(places):
            edges = (x, y, table.length_mm - x, table.width_mm - y)
            frozen |= abs(min(edges) - FROZEN_INSET_MM) < TOUCH_SLACK_MM
            touching |= any(
                math.dist((x, y), other) - BALL_DIAMETER_MM < TOUCH_SLACK_MM for other in places[:k]
            )
            for pocket in table.pockets:
                deep = np.dot(np.subtract((x, y), pocket.aim_mm), pocket.inward)
                jaws |= bool(deep > 0) and placing.in_jaws(pocket, (x, y))
    assert touching
    assert frozen
    assert jaws


def test_a_white_ball_is_white_where_truth_says() -> None:
    for name, entry in truth("practice/shots").items():
        cue = next((b for b in entry["balls"] if b["id"] == "cue"), None)
        if cue is None:
            continue
        picture = cv2.imread(str(ROOT / "practice/shots" / name))
        camera = Camera.from_dict(entry["camera"])
        u, v = camera.project([[cue["x_mm"], cue["y_mm"], BALL_RADIUS_MM]])[0]
        patch = picture[round(v) - 4 : round(v) + 5, round(u) - 4 : round(u) + 5]
        assert patch.mean(axis=(0, 1)).min() > 150, name


def test_others_are_of_all_sizes_and_some_are_obstructed() -> None:
    stills = truth("others").values()
    assert len({entry["table"]["length_mm"] for entry in stills}) == 4
    assert sum(entry["obstructed"] for entry in stills) >= 2
    assert all(5 <= len(entry["balls"]) <= 16 for entry in stills)
    assert len({entry["scene"]["cloth"]["name"] for entry in stills}) >= 8
