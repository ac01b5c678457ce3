"""The shipped practice: lens from its board stills, table from its empty still, against truth.

The stills are rendered; their truth is exact.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.from_still import calibrate
from calibration.lens.board import BoardPattern, find_board
from calibration.lens.fit import Lens, fit_lens
from calibration.solve.known import Known
from calibration.solve.quality import bed_error_mm
from calibration.table import Table

PRACTICE = files("sample_frames") / "practice"
MEDIAN_MM, WORST_MM = 0.3, 0.8
"""Bed position error at ball height with the lens fitted from the board stills."""
CORNER_PX = 0.2
MOST_SIGMAS = 5.0


def picture(*way: str) -> NDArray[np.uint8]:
    data = PRACTICE.joinpath(*way).read_bytes()
    still = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert still is not None
    return np.asarray(still, np.uint8)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return json.loads((PRACTICE / "truth.json").read_text(encoding="utf-8"))["stills"]["empty.jpg"]


@pytest.fixture(scope="module")
def boards() -> list[tuple[str, NDArray[np.uint8]]]:
    names = [f"board-{i:02d}.jpg" for i in range(1, 13)]
    return [(name, picture("boards", name)) for name in names]


@pytest.fixture(scope="module")
def lens(boards: list[tuple[str, NDArray[np.uint8]]]) -> Lens:
    return fit_lens(boards, BoardPattern())


def test_lens_from_the_board_stills(lens: Lens, truth: dict[str, Any]) -> None:
    camera = Camera.from_dict(truth["camera"])
    assert lens.held_out_rms_px < CORNER_PX
    assert lens.coverage > 0.8
    sigma = np.sqrt(lens.parameter_cov[0][0])
    assert abs(lens.fx_px - camera.fx_px) < MOST_SIGMAS * sigma
    assert sigma / camera.fx_px < 0.002


def test_board_corners_lie_where_the_camera_puts_them(
    boards: list[tuple[str, NDArray[np.uint8]]],
) -> None:
    data = json.loads((PRACTICE / "boards" / "truth.json").read_text(encoding="utf-8"))["stills"]
    off = []
    for name, still in boards:
        view = find_board(name, still, BoardPattern())
        board = data[name]["board"]
        rotation = np.asarray(cv2.Rodrigues(np.asarray(board["rvec"], float))[0])
        placed = view.board_mm @ rotation.T + np.asarray(board["origin_mm"])
        camera = Camera.from_dict(data[name]["camera"])
        off.append(view.corners_px - camera.project(placed))
    every = np.hypot(*np.concatenate(off).T)
    assert np.sqrt(np.mean(every**2)) < CORNER_PX


def test_practice_table_with_the_fitted_lens(lens: Lens, truth: dict[str, Any]) -> None:
    camera, table = Camera.from_dict(truth["camera"]), Table.from_dict(truth["table"])
    told = Table(length_mm=table.length_mm, width_mm=table.width_mm)
    calibration = calibrate(picture("empty.jpg"), told, truth["head"], Known(lens=lens))
    off = np.hypot(*bed_error_mm(calibration, camera).T)
    assert np.median(off) <= MEDIAN_MM
    assert off.max() <= WORST_MM
    assert calibration.budget is not None
    assert off.max() <= calibration.budget.worst_mm
    assert calibration.warnings == ()


def test_practice_table_without_a_lens_file_keeps_its_budget(truth: dict[str, Any]) -> None:
    camera, table = Camera.from_dict(truth["camera"]), Table.from_dict(truth["table"])
    told = Table(length_mm=table.length_mm, width_mm=table.width_mm)
    still = picture("empty.jpg")
    tape_mm = float(camera.position_mm[2]) + 10.0
    for height_mm in (tape_mm, None):
        calibration = calibrate(still, told, truth["head"], Known(camera_height_mm=height_mm))
        off = np.hypot(*bed_error_mm(calibration, camera).T)
        assert calibration.budget is not None
        assert off.max() <= calibration.budget.worst_mm


def test_the_stills_order_does_not_matter(
    boards: list[tuple[str, NDArray[np.uint8]]], lens: Lens
) -> None:
    turned = fit_lens(boards[::-1], BoardPattern())
    assert turned.fx_px == pytest.approx(lens.fx_px, abs=0.2 * np.sqrt(lens.parameter_cov[0][0]))
    assert {s.name for s in turned.stills} == {s.name for s in lens.stills}
