"""The shipped networks as they are run: shapes, what they find, files that are missing."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np
import pytest

from vision import networks
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.networks import WeightsError, cells_of_four, shipped
from vision.place.crops import CROP_SIDE, CropFrames, cut_crops
from vision.truth.file import read_truth

OTHERS = Path(__file__).parents[1] / "sample_frames" / "others"
WEIGHTS = Path(networks.__file__).with_name("weights")
TRUTH = read_truth(OTHERS)
CLEAR = [name for name, truth in TRUTH.items() if not truth.obstructed]
SURE_SCORE = 0.5
AIM_MM = 9.0
"""The crop network is aimed again from 4 mm on and sees 42 mm each way; most boxes are 1 mm off."""
MOST_BYTES = 12_000_000
ALONE_TOLERANCE = 2e-3
ORDER_TOLERANCE = 1e-6
"""Scores are ordered before their last rounding."""
MOST_PLACES = 300
"""Boxes that the shipped finder works out."""
"""A crop's place is judged alone; sums may be ordered otherwise in another batch."""


def picture_of(name: str) -> np.ndarray:
    return cv2.imread(str(OTHERS / name))


def test_weights_that_are_missing_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(networks, "FINDER_FILE", "absent.onnx")
    shipped.cache_clear()
    try:
        with pytest.raises(
            WeightsError, match=r"vision/weights/absent\.onnx: missing; allowed: .* Install"
        ):
            shipped()
    finally:
        shipped.cache_clear()


def test_networks_of_ones_own_are_read_with_and_a_wrong_folder_is_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kept = (networks.shipped, networks.crops_fingerprint, networks.fingerprint)
    usual = networks.fingerprint()

    def forget() -> None:
        for each in kept:
            each.cache_clear()

    try:
        monkeypatch.setenv(networks.OWN_WEIGHTS, str(tmp_path))
        forget()
        with pytest.raises(WeightsError, match=r"RESTMARK_WEIGHTS: got .*, where there is no find"):
            shipped()
        (tmp_path / "finder.onnx").write_bytes((WEIGHTS / "finder.onnx").read_bytes())
        (tmp_path / "crops.onnx").write_bytes(b"no network")
        with pytest.raises(WeightsError, match=r"/crops\.onnx: no network that can run \("):
            shipped()
        # one more field at its end changes a file and not what the network says
        note = b"\x32\x03own"
        (tmp_path / "crops.onnx").write_bytes((WEIGHTS / "crops.onnx").read_bytes() + note)
        assert networks.fingerprint() != usual
        crops = np.zeros((1, 56, 56, 3), np.uint8)
        assert np.isfinite(shipped().judge(crops).names).all()
    finally:
        monkeypatch.undo()
        forget()
    assert networks.fingerprint() == usual


A_PATH = re.compile(rb"/[A-Za-z][\w.-]*/[\w./-]*\.(?:yaml|pt|onnx|npy|png)")
"""Any absolute path of a file that training knows."""


def test_weights_are_small_and_tell_nothing_of_where_they_were_made() -> None:
    files = [path for path in WEIGHTS.iterdir() if path.suffix in (".onnx", ".pt")]
    assert {path.name for path in files} == {"finder.onnx", "crops.onnx", "finder.pt"}
    assert sum(path.stat().st_size for path in files) <= MOST_BYTES
    for path in files:
        named = re.findall(
            rb"/[A-Za-z][\w.-]*/[\w./-]*\.(?:yaml|pt|onnx|npy|png)", path.read_bytes()
        )
        assert named == [], path.name


def test_outputs_have_the_shapes_that_are_told() -> None:
    found = shipped().find(np.zeros((VIEW_ROWS, VIEW_COLUMNS, 3), np.uint8))
    assert found.shape == (MOST_PLACES, 6)
    assert np.all(np.diff(found[:, 4:].max(axis=1)) <= ORDER_TOLERANCE)
    smallest = shipped().find(np.zeros((32, 32, 3), np.uint8))
    assert smallest.shape == (17, 6)  # 4 by 4 places and one
    assert found.dtype == np.float32
    assert np.all((found[:, 4:] >= 0) & (found[:, 4:] <= 1))
    for count in (1, 5):
        said = shipped().judge(np.full((count, CROP_SIDE, CROP_SIDE, 3), 90, np.uint8))
        assert said.offset_mm.shape == (count, 2)
        assert said.precision.shape == (count, 2, 2)
        assert np.all(said.precision[:, 1, 0] == 0)
        assert np.all(np.linalg.det(said.precision) > 0)
        assert said.ball.shape == (count,)
        assert said.names.shape == (count, 16)
        np.testing.assert_allclose(np.exp(said.names).sum(axis=1), 1, rtol=0, atol=1e-5)
        assert len(said.embedding) == count


def test_cells_hold_two_by_two_pixels_row_by_row() -> None:
    drawn = np.random.default_rng(3).integers(0, 256, (10, 16, 3), dtype=np.uint8)
    for view in (drawn, drawn[2:8, 4:12]):  # a part of a view is not laid out in one piece
        cells = cells_of_four(view)
        rows, columns = (side // 2 for side in view.shape[:2])
        assert cells.shape == (rows, columns, 12)
        for row in range(rows):
            for column in range(columns):
                four = view[2 * row : 2 * row + 2, 2 * column : 2 * column + 2]
                assert np.array_equal(cells[row, column], four.ravel())


@pytest.mark.parametrize("name", CLEAR)
def test_the_finder_is_sure_of_every_ball_of_a_clear_still(name: str) -> None:
    truth = TRUTH[name]
    view = FinderView.of(truth.calibration.camera, truth.calibration.table)
    found = shipped().find(view.warp(picture_of(name)))
    sure = found[found[:, 4] > SURE_SCORE]
    places = view.to_table(sure[:, :2] - 0.5)
    for ball in truth.balls:
        away = np.hypot(places[:, 0] - ball.x_mm, places[:, 1] - ball.y_mm)
        if ball.visible >= 0.5:
            assert away.min() < AIM_MM, (ball.id, away.min())
    assert np.all(found[:, 5] < SURE_SCORE)


def test_a_crops_place_does_not_hang_on_the_other_crops() -> None:
    name = CLEAR[0]
    truth = TRUTH[name]
    centres = np.array([(ball.x_mm, ball.y_mm) for ball in truth.balls])
    camera = truth.calibration.camera
    crops = cut_crops(picture_of(name), camera, CropFrames.at(camera, centres))
    together = shipped().judge(crops)
    alone = np.concatenate([shipped().judge(crop[None]).offset_mm for crop in crops])
    np.testing.assert_allclose(alone, together.offset_mm, rtol=0, atol=ALONE_TOLERANCE)
    assert np.all(together.ball > 0)
