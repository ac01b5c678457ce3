"""Training sets cut from stills: boxes, crops and offsets agree with the truth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Camera
from calibration.table import BALL_DIAMETER_MM, Table
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.layout import BALL_IDS
from vision.place.crops import CROP_STEP_MM, CropFrames, cut_crops
from vision.training.nets import cut_sets
from vision.training.nets.cut_sets import (
    EMPTY_CROPS,
    LEAST_THING_MM,
    NO_BALL,
    START_LIMIT_MM,
    STORED_SIDE,
    STORED_STEP_MM,
    UNITE_MM,
    cut_folders,
    cut_still,
    thing_boxes,
    truth_entries,
    united,
)

OTHERS = Path(__file__).parents[1] / "sample_frames" / "others"
STILL = "other-03.jpg"
ENTRIES = truth_entries(OTHERS)
VIEW_TOLERANCE_MM = 0.05
"""Boxes are written with six digits of the view's size and looked up through a spline."""
PLANE_TOLERANCE_MM = 0.02
"""Offsets are carried between two planes a few millimetres apart."""
SECOND_ORDER_MM = 0.1
"""Starts are one Jacobian away from the balls, to first order, at most 7 mm."""
CIRCLE_TOLERANCE_MM = 2.0
"""A highlight or the next ball's edge may pull the plain centre of gravity so far."""


def geometry(name: str) -> tuple[Camera, Table, FinderView]:
    camera, table = (
        Camera.from_dict(ENTRIES[name]["camera"]),
        Table.from_dict(ENTRIES[name]["table"]),
    )
    return camera, table, FinderView.of(camera, table)


@pytest.fixture(scope="module")
def cut() -> cut_sets.Cut:
    return cut_still(OTHERS / STILL, ENTRIES[STILL], 7)


def seen_balls() -> list[dict[str, Any]]:
    return [b for b in ENTRIES[STILL]["balls"] if b["visible"] >= cut_sets.LEAST_VISIBLE]


def test_boxes_stand_round_the_balls_of_the_truth(cut: cut_sets.Cut) -> None:
    _, _, view = geometry(STILL)
    boxes = np.array([box for box in cut.boxes if box[0] == 0])
    middle = view.to_table(boxes[:, 1:3] * (VIEW_COLUMNS, VIEW_ROWS) - 0.5)
    true = [(ball["x_mm"], ball["y_mm"]) for ball in seen_balls()]
    np.testing.assert_allclose(middle, true, rtol=0, atol=VIEW_TOLERANCE_MM)
    size_mm = boxes[:, 3:] * (VIEW_COLUMNS, VIEW_ROWS) * view.scale_mm
    np.testing.assert_allclose(size_mm, BALL_DIAMETER_MM, rtol=0, atol=VIEW_TOLERANCE_MM)
    assert cut.view.shape == (VIEW_ROWS, VIEW_COLUMNS, 3)


def test_offsets_point_from_the_crop_to_the_true_centre(cut: cut_sets.Cut) -> None:
    """Start place plus offset is the ball: the frames are made again from what was stored."""
    camera, _, _ = geometry(STILL)
    balls = seen_balls()
    true = np.array([(ball["x_mm"], ball["y_mm"]) for ball in balls])
    offset = cut.offset_mm[: len(balls)]
    assert np.linalg.norm(offset, axis=1).max() <= START_LIMIT_MM + PLANE_TOLERANCE_MM
    moved = np.einsum("kij,kj->ki", cut.jacobian[: len(balls)], offset)
    again = CropFrames.at(camera, true - moved)
    np.testing.assert_allclose(again.to_crop(true), offset, rtol=0, atol=SECOND_ORDER_MM)
    assert [BALL_IDS[k] for k in cut.kind[: len(balls)]] == [ball["id"] for ball in balls]
    assert np.all(cut.kind[len(balls) :] == NO_BALL)
    assert len(cut.kind) == len(balls) + EMPTY_CROPS


def test_stored_crops_show_the_ball_at_the_offset(cut: cut_sets.Cut) -> None:
    """A crop cut at the truth and the stored one shifted by the offset show the same."""
    camera, _, _ = geometry(STILL)
    picture = cv2.imread(str(OTHERS / STILL))
    balls = seen_balls()
    true = np.array([(ball["x_mm"], ball["y_mm"]) for ball in balls])
    centred = cut_crops(
        picture, camera, CropFrames.at(camera, true), side=STORED_SIDE, step_mm=STORED_STEP_MM
    )
    half = STORED_SIDE // 2
    for stored, straight, offset in zip(cut.crops, centred, cut.offset_mm, strict=False):
        shift = np.float32(
            [[1, 0, -offset[0] / STORED_STEP_MM], [0, 1, -offset[1] / STORED_STEP_MM]]
        )
        back = cv2.warpAffine(stored, shift, (STORED_SIDE, STORED_SIDE))
        part = (slice(half - 40, half + 40),) * 2
        right = cv2.absdiff(back[part], straight[part]).mean()
        assert right < 3.0
        if np.linalg.norm(offset) > 2.0:
            assert right < 0.5 * cv2.absdiff(stored[part], straight[part]).mean()


def test_a_crop_at_the_truth_holds_the_ball_in_its_middle() -> None:
    """The pixels that differ from the cloth round about balance about the crop's middle."""
    checked = 0
    for name in ("other-01.jpg", STILL, "other-05.jpg"):
        camera, _, _ = geometry(name)
        picture = cv2.imread(str(OTHERS / name))
        every = np.array([(b["x_mm"], b["y_mm"]) for b in ENTRIES[name]["balls"]])
        for ball in ENTRIES[name]["balls"]:
            place = np.array([ball["x_mm"], ball["y_mm"]])
            near = np.sort(np.linalg.norm(every - place, axis=1))[1:2]
            if ball["id"] != "cue" or ball["visible"] < 0.99 or near < 80:
                continue
            crop = cut_crops(picture, camera, CropFrames.at(camera, place[None]))[0].astype(float)
            light = crop.min(axis=2)  # white is high in every channel, cloth is not
            mask = light > (np.median(light[:6]) + light[22:34, 22:34].max()) / 2
            rows, columns = np.nonzero(mask)
            off = np.array([rows.mean(), columns.mean()]) - (crop.shape[0] - 1) / 2
            assert np.abs(off * CROP_STEP_MM).max() < CIRCLE_TOLERANCE_MM, (name, off)
            checked += 1
    assert checked


def test_empty_places_keep_clear_of_balls() -> None:
    table = Table()
    balls = np.array([(600.0, 400.0), (660.0, 400.0)])
    places = cut_sets.empty_places(np.random.default_rng(1), table, balls)
    assert places.shape == (EMPTY_CROPS, 2)
    assert np.linalg.norm(places[:, None] - balls[None], axis=-1).min() > 16.0


# -- what obstructs --------------------------------------------------------------------------


def obstructed(boxes_mm: list[tuple[float, float, float, float]]) -> list[tuple[float, ...]]:
    """Boxes of the bed in mm, told as the truth tells them, as labels in mm again."""
    camera, table, view = geometry(STILL)
    told = []
    for left, low, right, high in boxes_mm:
        corners = np.array([(left, low), (right, low), (right, high), (left, high)])
        pixels = camera.project(np.column_stack([corners, np.full(4, 28.575)]))
        told.append([*pixels.min(axis=0), *pixels.max(axis=0)])
    labels = np.array(thing_boxes(view, camera, table, {"obstruction_px": told})).reshape(-1, 5)
    assert np.all(labels[:, 0] == 1)
    middle, half = labels[:, 1:3] * (VIEW_COLUMNS, VIEW_ROWS), labels[:, 3:] * (
        VIEW_COLUMNS / 2, VIEW_ROWS / 2,
    )  # fmt: skip
    low, high = view.to_table(middle - half - 0.5), view.to_table(middle + half - 0.5)
    return [tuple(row) for row in np.concatenate([low, high], axis=1)]


BOX_SLACK_MM = 20.0
"""Boxes upright in the picture and upright in the view differ under a turned, leaning camera."""


def test_finger_tips_are_one_thing() -> None:
    tips = [(700.0, 5.0 + 40 * k, 745.0, 30.0 + 40 * k) for k in range(4)]
    labels = obstructed(tips)
    assert len(labels) == 1
    np.testing.assert_allclose(labels[0], (700, 5, 745, 150), rtol=0, atol=BOX_SLACK_MM)


def test_things_far_from_each_other_stay_two() -> None:
    labels = obstructed([(300.0, 300.0, 500.0, 500.0), (900.0, 300.0, 1100.0, 500.0)])
    assert len(labels) == 2


def test_thin_things_are_framed_wide_enough() -> None:
    (label,) = obstructed([(600.0, 300.0, 1100.0, 308.0)])
    assert label[3] - label[1] >= LEAST_THING_MM - VIEW_TOLERANCE_MM
    assert label[2] - label[0] < 500 + 2 * BOX_SLACK_MM


def test_what_lies_outside_the_bed_is_no_thing() -> None:
    assert obstructed([(300.0, -200.0, 500.0, -50.0)]) == []
    assert thing_boxes(geometry(STILL)[2], *geometry(STILL)[:2], {}) == []


BOX = st.tuples(*[st.floats(0, 400)] * 2, *[st.floats(1, 80)] * 2).map(
    lambda v: np.array([v[0], v[1], v[0] + v[2], v[1] + v[3]])
)


@settings(max_examples=60, deadline=None)
@given(boxes=st.lists(BOX, max_size=8), gap=st.floats(1, 80))
def test_united_boxes_cover_all_and_lie_apart(boxes: list[Any], gap: float) -> None:
    out = united(boxes, gap)
    assert len(out) <= len(boxes)
    for box in boxes:
        assert any(np.all(box[:2] >= o[:2]) and np.all(box[2:] <= o[2:]) for o in out)
    for i, one in enumerate(out):
        for other in out[:i]:
            assert cut_sets._gap(one, other) >= gap
    assert UNITE_MM > LEAST_THING_MM


def test_a_folder_becomes_pictures_labels_and_arrays(tmp_path: Path) -> None:
    folder = tmp_path / "stills"
    folder.mkdir()
    names = [STILL, "other-05.jpg"]
    for name in names:
        (folder / name).write_bytes((OTHERS / name).read_bytes())
    told = {name: ENTRIES[name] for name in [*names, "other-07.jpg"]}  # one was left out
    (folder / "truth.json").write_text(json.dumps({"stills": told}), encoding="utf-8")
    assert cut_folders([folder], tmp_path / "out", workers=1) == 2
    crops = np.load(tmp_path / "out" / "crops.npy")
    assert crops.shape[1:] == (STORED_SIDE, STORED_SIDE, 3)
    for name in ("offset_mm", "kind", "visible", "jacobian", "still"):
        assert len(np.load(tmp_path / "out" / f"{name}.npy")) == len(crops)
    for k in range(2):
        picture = cv2.imread(str(tmp_path / "out" / "images" / f"{k:05d}.png"))
        assert picture.shape == (VIEW_ROWS, VIEW_COLUMNS, 3)
        lines = (tmp_path / "out" / "labels" / f"{k:05d}.txt").read_text().splitlines()
        balls = [b for b in ENTRIES[names[k]]["balls"] if b["visible"] >= cut_sets.LEAST_VISIBLE]
        assert sum(line.startswith("0 ") for line in lines) == len(balls)
