"""The lens fit: corners where they are, K and distortion within their own error, bad stills out."""

from __future__ import annotations

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_board import board_cameras, draw_board
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import CalibrationError
from calibration.lens.board import BoardPattern, BoardView, find_board
from calibration.lens.coverage import REGIONS, bare_regions, bare_share, picture_coverage
from calibration.lens.file import INTRINSICS, BoardStill
from calibration.lens.fit import Lens, fit_lens
from calibration.lens.sharpness import edge_width_px
from calibration.vary import sensitivity
from service.words.lens import coverage_lines

CORNER_PX = 0.05
"""RMS corner error on clean drawn boards; OpenCV before 5 was half a pixel off."""
MOST_SIGMAS = 4.0
"""Every fitted intrinsic within this many of its own stated sigmas."""
EDGE_SIGMAS = 2.563
"""10–90 % width of an edge in sigmas of a Gaussian blur."""
EDGE_SHARE = 0.1
"""Error allowed of a measured edge width."""
CLEAR_SHARE = 0.7
"""What markers, close to the edges, leave to be seen of such a width."""
PIXEL_SIGMA_PX = 0.4
"""Blur of drawing, of the pixel itself and of reading between pixels, as a sigma."""
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
    assert lens.stills[-1].code == "no-board"
    assert "got 0 of 54 board corners; allowed: 12 or more" in reason


def test_a_bent_board_is_left_out(charuco: tuple[Stills, list[Camera]], lens: Lens) -> None:
    still = charuco[0][0][1]
    row, column = np.mgrid[0:720, 0:960].astype(np.float32)
    bent = cv2.remap(still, column + 4 * np.sin(row / 40), row, cv2.INTER_LINEAR)
    spoilt = fit_lens([("bent.jpg", bent), *charuco[0][1:]], CHARUCO)
    ((rejected, reason),) = spoilt.rejected
    assert rejected == "bent.jpg"
    assert "px off the other stills" in reason
    assert (spoilt.stills[0].code, spoilt.stills[0].held_out_px) == ("outlier", None)
    assert abs(spoilt.fx_px - lens.fx_px) < 3.0


def test_colour_stills_are_taken(charuco: tuple[Stills, list[Camera]]) -> None:
    name, still = charuco[0][0]
    colour = cv2.cvtColor(still, cv2.COLOR_GRAY2BGR)
    grey = find_board(name, still, CHARUCO).corners_px
    np.testing.assert_allclose(
        find_board(name, colour, CHARUCO).corners_px, grey, rtol=0, atol=1e-3
    )


def test_too_few_stills_are_refused(charuco: tuple[Stills, list[Camera]]) -> None:
    with pytest.raises(CalibrationError, match=r"got 4 usable board stills; allowed: 5 or more"):
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


def test_an_uncovered_part_of_the_picture_is_refused_by_name(
    charuco: tuple[Stills, list[Camera]],
) -> None:
    """Half of the picture is covered, but nothing on its right, where the lens bends most."""
    hidden = []
    for name, still in charuco[0]:
        half = still.copy()
        half[:, 660:] = 120
        hidden.append((name, half))
    with pytest.raises(
        CalibrationError,
        match=r"too little of the picture's top right \(0%\), right \(0%\), bottom right \(0%\); "
        r"allowed: 33% or more of every ninth but 2\. Take more stills with the board there",
    ):
        fit_lens(hidden, CHARUCO)


def test_a_lens_whose_board_missed_a_corner_is_given_with_a_larger_error_there(
    charuco: tuple[Stills, list[Camera]], lens: Lens
) -> None:
    hidden = []
    for name, still in charuco[0]:
        less = still.copy()
        less[460:, 620:] = 120
        hidden.append((name, less))
    made = fit_lens(hidden, CHARUCO)
    assert [name for name, _ in bare_regions(made.coverage_by_region)] == ["bottom right"]
    assert "hardly seen at the picture's bottom right" in coverage_lines(made)[-1]
    corner = LENS.rays(np.array([(940.0, 700.0)]))
    slope = sensitivity(LENS, INTRINSICS, 1000 * corner / corner[:, 2:])[0]
    whole, less = (np.array(one.parameter_cov) for one in (lens, made))
    assert np.trace(slope @ less @ slope.T) > 1.2 * np.trace(slope @ whole @ slope.T)
    k3 = INTRINSICS.index("k3")
    assert whole[k3, k3] == 0 < less[k3, k3], "what no still could tell stays open"


def test_the_bed_in_an_unseen_part_is_told() -> None:
    parts = (1.0,) * 8 + (0.1,)
    at_px = np.array([(10.0, 10.0), (950.0, 710.0), (950.0, 10.0), (480.0, 700.0)])
    assert bare_share(at_px, parts, (960, 720)) == {"bottom right": 0.25}
    assert bare_share(at_px[:1], parts, (960, 720)) == {}
    assert bare_share(at_px, (), (960, 720)) == {}, "an exact lens"


def test_coverage_is_counted_cell_by_cell() -> None:
    def view(*corners_px: tuple[float, float]) -> BoardView:
        return BoardView(
            name="a",
            board_mm=np.zeros((len(corners_px), 3)),
            corners_px=np.array(corners_px, dtype=float),
        )

    # cells of 100 px; the first covers -0.5 ... 99.5
    parts = picture_coverage(
        [view((-0.4, -0.4), (99.4, 99.4)), view((99.6, 99.6), (899.4, 599.4), (2000.0, 5.0))],
        (900, 600),
    )
    by_name = dict(zip(REGIONS, parts, strict=True))
    assert by_name["top left"] == pytest.approx(2 / 6)
    assert by_name["bottom right"] == pytest.approx(1 / 6)
    assert sum(parts) == pytest.approx(3 / 6)


def test_stills_that_are_all_bad_alike_are_refused(charuco: tuple[Stills, list[Camera]]) -> None:
    """A warped board: no still stands apart from the others, and no lens explains any."""
    row, column = np.mgrid[0:720, 0:960].astype(np.float32)
    bent = [
        (name, cv2.remap(still, column + 4 * np.sin(row / 40 + i), row, cv2.INTER_LINEAR))
        for i, (name, still) in enumerate(charuco[0])
    ]
    with pytest.raises(
        CalibrationError, match=r"got \d\.\d\d px error at held-out corners; allowed: 1\.00 px"
    ):
        fit_lens(bent, CHARUCO)


def test_every_still_has_its_held_out_error(lens: Lens) -> None:
    held_out = np.array([still.held_out_px for still in lens.stills], dtype=float)
    corners = np.array([still.corners for still in lens.stills])
    assert np.all((held_out > 0) & (held_out < 0.25))
    whole = np.sqrt(np.sum(corners * held_out**2) / corners.sum())
    assert whole == pytest.approx(lens.held_out_rms_px, rel=1e-9)


def test_held_out_error_shows_a_still_that_the_others_do_not_explain(
    charuco: tuple[Stills, list[Camera]], lens: Lens
) -> None:
    """Too small a bend to be left out; its own held-out error tells."""
    name, still = charuco[0][4]
    row, column = np.mgrid[0:720, 0:960].astype(np.float32)
    bent = cv2.remap(still, column + 0.35 * np.sin(row / 40), row, cv2.INTER_LINEAR)
    spoilt = fit_lens([*charuco[0][:4], (name, bent), *charuco[0][5:]], CHARUCO)
    at = {s.name: s for s in spoilt.stills}
    before = {s.name: s for s in lens.stills}[name].held_out_px
    assert at[name].used
    assert before is not None
    assert at[name].held_out_px == max(s.held_out_px or 0.0 for s in spoilt.stills)
    assert at[name].held_out_px > 1.5 * before


def test_a_blurred_chessboard_is_left_out() -> None:
    """Its corners are found all the same, so only the edges tell."""
    stills, cameras = stills_of(CHESSBOARD, 7, 5)
    blur_px = 2.5
    name = stills[0][0]
    soft = (name, draw_board(cameras[0], CHESSBOARD, blur_px=blur_px))
    lens = fit_lens([soft, *stills[1:]], CHESSBOARD)
    record = lens.stills[0]
    assert (record.used, record.code, record.corners) == (False, "blurred", 54)
    assert record.edge_px == pytest.approx(EDGE_SIGMAS * blur_px, rel=EDGE_SHARE)
    assert f"{name}: got edges {record.edge_px:.1f} px wide, blurred; allowed: " in record.reason


@pytest.mark.parametrize("blur_px", [0.8, 1.1])
def test_edge_widths_are_those_drawn(blur_px: float) -> None:
    # averaging over pixels widens sharp edges a little
    drawn_px = EDGE_SIGMAS * np.hypot(blur_px, PIXEL_SIGMA_PX)
    for board, least in ((CHARUCO, CLEAR_SHARE), (CHESSBOARD, 1 - EDGE_SHARE)):
        (camera,) = board_cameras(LENS, board, 1, np.random.default_rng(4))
        still = draw_board(camera, board, blur_px=blur_px)
        width_px = edge_width_px(still, find_board("a", still, board), board)
        assert least * drawn_px < width_px < (1 + EDGE_SHARE) * drawn_px


@pytest.mark.parametrize("how", ["out of focus", "moved"])
def test_a_charuco_still_too_blurred_to_read_says_so(
    charuco: tuple[Stills, list[Camera]], how: str
) -> None:
    name, still = charuco[0][3]
    soft = (
        cv2.GaussianBlur(still, (0, 0), 3.0) if how == "out of focus" else cv2.blur(still, (13, 1))
    )
    lens = fit_lens([*charuco[0][:3], (name, soft), *charuco[0][4:]], CHARUCO)
    record = lens.stills[3]
    assert (record.name, record.used, record.code) == (name, False, "blurred")
    assert "px wide, blurred; allowed: " in record.reason
    assert "lock the focus" in record.reason


def test_a_mostly_hidden_board_is_left_out(charuco: tuple[Stills, list[Camera]]) -> None:
    name, still = charuco[0][2]
    middle = find_board(name, still, CHARUCO).corners_px.mean(axis=0)
    hidden = np.full_like(still, 120)
    u, v = (int(value) for value in middle)
    hidden[v - 45 : v + 45, u - 55 : u + 55] = still[v - 45 : v + 45, u - 55 : u + 55]
    lens = fit_lens([*charuco[0][:2], (name, hidden), *charuco[0][3:]], CHARUCO)
    record = lens.stills[2]
    assert (record.used, record.code) == (False, "few-corners")
    assert re.search(r"got [1-9]\d? of 54 board corners; allowed: 12 or more", record.reason)


def test_stills_of_another_size_are_left_out(charuco: tuple[Stills, list[Camera]]) -> None:
    small = ("small.jpg", np.zeros((480, 640), np.uint8))
    lens = fit_lens([small, *charuco[0]], CHARUCO)
    assert lens.image_size_px == (960, 720)
    assert (lens.stills[0].name, lens.stills[0].code) == ("small.jpg", "other-size")
    assert "small.jpg: got 640x480 px; allowed: 960x720 px as most" in lens.stills[0].reason


def test_two_sizes_equally_often_and_doubles_are_refused(
    charuco: tuple[Stills, list[Camera]],
) -> None:
    small = [(f"small-{i}.jpg", np.zeros((480, 640), np.uint8)) for i in range(10)]
    with pytest.raises(
        CalibrationError, match=r"several sizes, 10 of 960x720, 10 of 640x480; allowed: one size"
    ):
        fit_lens([*charuco[0], *small], CHARUCO)
    with pytest.raises(CalibrationError, match=r"got 11 stills under 10 names"):
        fit_lens([*charuco[0], charuco[0][0]], CHARUCO)


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"pattern": "dots"}, r"board\.pattern: got 'dots'; allowed: charuco, chessboard"),
        ({"squares": (2, 9)}, r"board\.squares: got \(2, 9\); allowed: columns x rows, 3 to 100"),
        ({"square_mm": 0.0}, r"board\.square_mm: got 0\.0"),
        ({"marker_mm": 50.0}, r"board\.marker_mm: got 50\.0; .*less than the square \(40\)"),
        ({"squares": (20, 30)}, r"'5X5_250' with 250 markers; allowed: one with 300 or more"),
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


def test_the_ruler_bar_scales_the_board_and_leaves_the_lens(
    charuco: tuple[Stills, list[Camera]], lens: Lens
) -> None:
    """A print of another scale is another board; K and distortion are those of the camera."""
    scaled = fit_lens(charuco[0], CHARUCO, ruler_mm=99.4)
    assert (lens.board, lens.ruler_mm) == (CHARUCO, None)
    assert scaled.ruler_mm == 99.4
    assert scaled.board is not None
    assert scaled.board.square_mm == pytest.approx(39.76, rel=1e-12)
    assert scaled.board.marker_mm == pytest.approx(29.82, rel=1e-12)
    sigma = np.sqrt(np.diag(lens.parameter_cov)) + 1e-9
    assert np.all(np.abs(np.subtract(scaled.values, lens.values)) < 0.05 * sigma)
    for wrong in (9.94, 994.0, float("nan")):
        with pytest.raises(CalibrationError, match=r"ruler_mm: got .*; allowed: 50 to 200"):
            fit_lens(charuco[0], CHARUCO, ruler_mm=wrong)


def test_files_without_a_picture_stay_on_record(charuco: tuple[Stills, list[Camera]]) -> None:
    broken = BoardStill(name="cut.jpg", used=False, code="bad-still", reason="cut.jpg: cut off")
    lens = fit_lens(charuco[0], CHARUCO, unread=[broken])
    assert broken in lens.stills
    with pytest.raises(CalibrationError, match=r"got 4 usable board stills.*cut\.jpg: cut off"):
        fit_lens(charuco[0][:4], CHARUCO, unread=[broken])
