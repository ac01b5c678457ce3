"""The lens fit: corners where they are, K and distortion within their own error, bad stills out."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_board import board_cameras, draw_board
from numpy.typing import NDArray

from calibration.board import BoardPattern, find_board
from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.lens import Lens, fit_lens
from calibration.lens_file import INTRINSICS

CORNER_PX = 0.05
"""RMS corner error on clean drawn boards; OpenCV before 5 was half a pixel off."""
MOST_SIGMAS = 4.0
"""Every fitted intrinsic within this many of its own stated sigmas."""
CHARUCO = BoardPattern()
CHESSBOARD = BoardPattern(pattern="chessboard", squares=(10, 7), square_mm=30.0)
LENS = Camera(
    image_size_px=(960, 720),
    fx_px=800.0,
    fy_px=800.0,
    cx_px=486.0,
    cy_px=355.0,
    distortion=(-0.12, 0.03, 0.0004, -0.0003, 0.0),
)

Stills = list[tuple[str, NDArray]]


def stills_of(board: BoardPattern, count: int, seed: int) -> tuple[Stills, list[Camera]]:
    cameras = board_cameras(LENS, board, count, np.random.default_rng(seed))
    stills = [
        (f"board-{i + 1:02d}.jpg", draw_board(camera, board, seed=i))
        for i, camera in enumerate(cameras)
    ]
    return stills, cameras


@pytest.fixture(scope="module")
def charuco() -> tuple[Stills, list[Camera]]:
    return stills_of(CHARUCO, 10, 3)


@pytest.fixture(scope="module")
def lens(charuco: tuple[Stills, list[Camera]]) -> Lens:
    return fit_lens(charuco[0], CHARUCO)


def test_charuco_corners_lie_where_they_were_drawn(charuco: tuple[Stills, list[Camera]]) -> None:
    off = []
    for (name, still), camera in zip(*charuco, strict=True):
        view = find_board(name, still, CHARUCO)
        off.append(view.corners_px - camera.project(view.board_mm))
    assert len(off) == 10
    every = np.concatenate(off)
    assert len(every) > 450
    assert np.sqrt(np.mean(every**2)) < CORNER_PX
    assert np.all(np.abs(every.mean(axis=0)) < CORNER_PX / 4)


def test_chessboard_corners_lie_where_they_were_drawn() -> None:
    (camera,) = board_cameras(LENS, CHESSBOARD, 1, np.random.default_rng(8))
    view = find_board("a", draw_board(camera, CHESSBOARD), CHESSBOARD)
    assert len(view.corners_px) == CHESSBOARD.corner_count
    # a plain board has no first corner: any may come first, and that does not matter
    grid = view.board_mm.reshape(6, 9, 3)
    orders = (grid, grid[::-1], grid[:, ::-1], grid[::-1, ::-1])
    off = [view.corners_px - camera.project(order.reshape(-1, 3)) for order in orders]
    assert min(np.sqrt(np.mean(one**2)) for one in off) < CORNER_PX


def test_lens_agrees_with_the_truth_within_its_own_error(lens: Lens) -> None:
    truth = (LENS.fx_px, LENS.fy_px, LENS.cx_px, LENS.cy_px, *LENS.distortion)
    sigma = np.sqrt(np.diag(lens.parameter_cov))
    assert sigma[0] / LENS.fx_px < 0.002
    for name, value, true, one in zip(INTRINSICS, lens.values, truth, sigma, strict=True):
        assert abs(value - true) <= MOST_SIGMAS * one + 1e-12, name


def test_lens_reports_held_out_error_and_coverage(lens: Lens) -> None:
    assert lens.image_size_px == (960, 720)
    assert 0 < lens.fit_rms_px <= lens.held_out_rms_px < 0.15
    assert lens.coverage > 0.6
    assert [s.used for s in lens.stills] == [True] * 10
    assert all(s.corners > 20 and s.rms_px < 0.2 for s in lens.stills)


def test_rays_of_the_fitted_lens_agree_over_the_whole_picture(lens: Lens) -> None:
    fitted = replace(
        LENS,
        fx_px=lens.fx_px,
        fy_px=lens.fy_px,
        cx_px=lens.cx_px,
        cy_px=lens.cy_px,
        distortion=lens.distortion,
    )
    u, v = np.meshgrid(np.linspace(20, 940, 12), np.linspace(20, 700, 9))
    pixels = np.column_stack([u.ravel(), v.ravel()])
    true, own = LENS.rays(pixels), fitted.rays(pixels)
    # a turn of the whole camera is no lens error
    left, _, right = np.linalg.svd(own.T @ true)
    turned = own @ (left @ right)
    angle_px = np.linalg.norm(turned - true, axis=1) * LENS.fx_px
    assert np.median(angle_px) < 0.15
    assert angle_px.max() < 1.0


def test_chessboard_stills_give_the_same_lens() -> None:
    stills, _ = stills_of(CHESSBOARD, 6, 5)
    lens = fit_lens(stills, CHESSBOARD)
    sigma = np.sqrt(lens.parameter_cov[0][0])
    assert abs(lens.fx_px - LENS.fx_px) < MOST_SIGMAS * sigma
    assert sigma / LENS.fx_px < 0.005


def test_a_still_without_a_board_is_named_with_its_reason(
    charuco: tuple[Stills, list[Camera]],
) -> None:
    blank = np.full((720, 960), 120, np.uint8)
    lens = fit_lens([*charuco[0], ("empty-desk.jpg", blank)], CHARUCO)
    ((name, reason),) = lens.rejected
    assert name == "empty-desk.jpg"
    assert "got 0 of 54 board corners; allowed: 12 or more" in reason


def test_a_bent_board_is_left_out(charuco: tuple[Stills, list[Camera]], lens: Lens) -> None:
    still = charuco[0][0][1]
    row, column = np.mgrid[0:720, 0:960].astype(np.float32)
    bent = cv2.remap(still, column + 4 * np.sin(row / 40), row, cv2.INTER_LINEAR)
    spoilt = fit_lens([("bent.jpg", bent), *charuco[0][1:]], CHARUCO)
    ((rejected, reason),) = spoilt.rejected
    assert rejected == "bent.jpg"
    assert "px off the other stills" in reason
    assert abs(spoilt.fx_px - lens.fx_px) < 3.0


def test_colour_stills_are_taken(charuco: tuple[Stills, list[Camera]]) -> None:
    name, still = charuco[0][0]
    colour = cv2.cvtColor(still, cv2.COLOR_GRAY2BGR)
    grey = find_board(name, still, CHARUCO).corners_px
    np.testing.assert_allclose(
        find_board(name, colour, CHARUCO).corners_px, grey, rtol=0, atol=1e-3
    )


def test_too_few_stills_are_refused(charuco: tuple[Stills, list[Camera]]) -> None:
    with pytest.raises(CalibrationError, match=r"got 4 board stills; allowed: 5 or more"):
        fit_lens(charuco[0][:4], CHARUCO)
    blank = np.full((720, 960), 120, np.uint8)
    blanks = [(f"blank-{i}", blank) for i in range(3)]
    with pytest.raises(
        CalibrationError, match=r"got 4 usable board stills.*blank-0.*Take more stills"
    ):
        fit_lens([*charuco[0][:4], *blanks], CHARUCO)


def test_poor_coverage_is_refused(charuco: tuple[Stills, list[Camera]]) -> None:
    camera = charuco[1][0]
    rng = np.random.default_rng(2)
    corner: Stills = []
    for i in range(6):
        lean = 0.5 * rng.normal(size=3)
        moved = replace(camera, rvec=tuple(float(a) for a in np.array(camera.rvec) + 0.4 * lean))
        corner.append((f"c-{i}", draw_board(moved, CHARUCO, seed=i)))
    with pytest.raises(
        CalibrationError, match=r"board corners in \d+% of the picture; allowed: 50% or more"
    ):
        fit_lens(corner, CHARUCO)


def test_mixed_sizes_and_doubles_are_refused(charuco: tuple[Stills, list[Camera]]) -> None:
    small = ("small.jpg", np.zeros((480, 640), np.uint8))
    with pytest.raises(CalibrationError, match=r"sizes than 960x720: small\.jpg \(640x480\)"):
        fit_lens([*charuco[0], small], CHARUCO)
    with pytest.raises(CalibrationError, match=r"got 11 stills under 10 names"):
        fit_lens([*charuco[0], charuco[0][0]], CHARUCO)


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"pattern": "dots"}, r"board\.pattern: got 'dots'; allowed: charuco, chessboard"),
        ({"squares": (2, 9)}, r"board\.squares: got \(2, 9\); allowed: columns x rows, 3 to 100"),
        ({"square_mm": 0.0}, r"board\.square_mm: got 0\.0"),
        ({"marker_mm": 50.0}, r"board\.marker_mm: got 50\.0; .*less than the square \(40\)"),
        ({"dictionary": "9X9"}, r"board\.dictionary: got '9X9'; allowed: .*5X5_250"),
    ],
)
def test_impossible_boards_are_refused(settings: dict, text: str) -> None:
    with pytest.raises(CalibrationError, match=text):
        BoardPattern(**settings)


def test_board_from_text_and_dict_round_trip() -> None:
    board = BoardPattern.from_text("10x7", pattern="chessboard", square_mm=25.0)
    assert board.squares == (10, 7)
    for one in (board, CHARUCO):
        assert BoardPattern.from_dict(one.to_dict()).to_dict() == one.to_dict()
    with pytest.raises(CalibrationError, match=r"board\.squares: got 'ten'; allowed: COLUMNSxROWS"):
        BoardPattern.from_text("ten")
