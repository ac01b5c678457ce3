"""The printed lens board: true to scale, the very pattern that the lens fit looks for."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from calibration.errors import CalibrationError, FileFormatError
from calibration.lens.board import BoardPattern, find_board
from calibration.lens.paper import (
    CAPTION_MM,
    PAPERS_MM,
    UNPRINTABLE_MM,
    Sheet,
    default_square_mm,
    largest_square_mm,
    lay_out,
)
from calibration.lens.sheet import RULER_MM, sheet_pdf, write_sheet
from service.cli import main

PX_PER_MM = 6.0
"""Scale at which sheets are rasterised; coarser than a printer."""
SCALE_MM = 0.05
"""Largest error of a corner's place on the sheet: a twentieth of what a steel rule resolves."""
PAGE_MM = 0.001
"""Page sizes are written in points with four decimals."""
BAR_MM = 0.5 / PX_PER_MM
"""Ends of the bar are found to half a pixel."""
POINT_MM = 25.4 / 72
BLACK = 128


def sheet_of(paper: str, **settings: object) -> Sheet:
    squares = settings.pop("squares", (7, 10))
    square_mm = settings.pop("square_mm", default_square_mm(paper, squares))
    board = BoardPattern(
        squares=squares, square_mm=square_mm, marker_mm=0.75 * square_mm, **settings
    )
    return lay_out(paper, board)


def picture_of(sheet: Sheet) -> NDArray[np.uint8]:
    """The sheet's only page in grey, ``PX_PER_MM`` both ways, after a look at its size."""
    pdf = sheet_pdf(sheet)
    with pypdfium2.PdfDocument(pdf) as document:
        assert len(document) == 1
        page = document[0]
        page_mm = np.array(page.get_size()) * POINT_MM
        np.testing.assert_allclose(page_mm, sheet.page_mm, rtol=0, atol=PAGE_MM)
        bitmap = page.render(scale=PX_PER_MM * POINT_MM, grayscale=True)
        picture = np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)
        # the renderer stretches the page to whole pixels, upward
        stretch = np.array(picture.shape[::-1]) / (page_mm * PX_PER_MM)
        bitmap.close()
        page.close()
    size = np.round(page_mm * PX_PER_MM).astype(int)
    # integer = pixel centre, so the half pixel is taken along
    back = np.array([[stretch[0], 0, (stretch[0] - 1) / 2], [0, stretch[1], (stretch[1] - 1) / 2]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpAffine(picture, back, size.tolist(), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    )


def text_of(pdf: bytes) -> str:
    with pypdfium2.PdfDocument(pdf) as document:
        page = document[0]
        text = page.get_textpage()
        out = text.get_text_range()
        text.close()
        page.close()
    return str(out)


SHEETS = [
    sheet_of("A3"),
    sheet_of("A4"),
    sheet_of("letter"),
    sheet_of("A4", squares=(10, 7)),
    sheet_of("A4", dictionary="4X4_100", square_mm=20.5),
    sheet_of("letter", pattern="chessboard"),
]
NAMES = ["A3", "A4", "letter", "on its side", "other markers", "chessboard"]


@pytest.mark.parametrize("sheet", SHEETS, ids=NAMES)
def test_printed_corners_are_the_patterns_own_true_to_scale(sheet: Sheet) -> None:
    picture = picture_of(sheet)
    view = find_board("sheet", picture, sheet.board)
    assert len(view.corners_px) == sheet.board.corner_count
    # the finder of plain boards is made for camera blur; a raster of lines has none
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-4)
    corners = view.corners_px.astype(np.float32).reshape(-1, 1, 2)
    corners_px = cv2.cornerSubPix(picture, corners, (6, 6), (-1, -1), criteria).reshape(-1, 2)
    on_page_mm = (corners_px.astype(float) + 0.5) / PX_PER_MM
    wanted_mm = view.board_mm[:, :2] + sheet.corner_mm
    if sheet.board.pattern == "chessboard":
        # a plain board may be read from either end
        turned_mm = np.array(sheet.board.size_mm) - view.board_mm[:, :2] + sheet.corner_mm
        wanted_mm = min(wanted_mm, turned_mm, key=lambda w: float(np.abs(w - on_page_mm).max()))
    np.testing.assert_allclose(on_page_mm, wanted_mm, rtol=0, atol=SCALE_MM)
    spread = np.linalg.norm(on_page_mm[:, None] - on_page_mm[None], axis=2)
    wanted = np.linalg.norm(wanted_mm[:, None] - wanted_mm[None], axis=2)
    np.testing.assert_allclose(spread, wanted, rtol=0, atol=SCALE_MM)


@pytest.mark.parametrize("sheet", SHEETS[:5], ids=NAMES[:5])
def test_print_is_opencvs_own_picture_of_the_board(sheet: Sheet) -> None:
    """Every module, black or white, as the library draws it, sampled at the module's middle."""
    board = sheet.board
    modules = board.charuco().getDictionary().markerSize + 2
    fine = 8 * modules
    size = (board.squares[0] * fine, board.squares[1] * fine)
    own = np.asarray(board.charuco().generateImage(size, marginSize=0)) > BLACK
    picture = picture_of(sheet)
    part = (np.arange(max(size)) + 0.5) / fine * board.square_mm
    column = np.floor((part[: size[0]] + sheet.corner_mm[0]) * PX_PER_MM).astype(int)
    row = np.floor((part[: size[1]] + sheet.corner_mm[1]) * PX_PER_MM).astype(int)
    printed = picture[np.ix_(row, column)]
    # edges are grey in both; compare where the raster is plain
    plain = (printed < 5) | (printed > 250)
    edges = cv2.morphologyEx(own.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((5, 5), np.uint8))
    judged = plain & (edges == 0)
    assert judged.mean() > 0.5
    assert np.array_equal((printed > BLACK)[judged], own[judged])


def test_no_seams_inside_the_black() -> None:
    """One outline, not a box a module: a marker's border is black throughout."""
    sheet = sheet_of("A4")
    picture = picture_of(sheet)
    left, top = sheet.corner_mm
    module_mm = sheet.board.marker_mm / 7
    margin_mm = (sheet.board.square_mm - sheet.board.marker_mm) / 2
    start_mm = left + sheet.board.square_mm + margin_mm
    row = int((top + margin_mm + module_mm / 2) * PX_PER_MM)
    columns = slice(
        int(np.ceil(start_mm * PX_PER_MM)) + 1,
        int((start_mm + sheet.board.marker_mm) * PX_PER_MM) - 1,
    )
    assert picture[row, columns].max() == 0


@pytest.mark.parametrize("sheet", SHEETS, ids=NAMES)
def test_ruler_bar_measures_100_mm_and_stays_clear(sheet: Sheet) -> None:
    picture = picture_of(sheet)
    high = picture.shape[0]
    # the lower rail of the bar, below the text and above the sheet's edge
    strip = picture[high - int((UNPRINTABLE_MM + 1.2) * PX_PER_MM), :]
    runs = np.flatnonzero(strip < BLACK)
    bar = runs[runs <= runs[0] + round((RULER_MM + 1) * PX_PER_MM)]
    assert (bar[-1] - bar[0] + 1) / PX_PER_MM == pytest.approx(RULER_MM, abs=2 * BAR_MM)
    white = int(UNPRINTABLE_MM * PX_PER_MM) - 1
    for edge in (picture[:white], picture[-white:], picture[:, :white], picture[:, -white:]):
        assert edge.min() == 255
    # a white band lies between bar and pattern
    below = int((sheet.corner_mm[1] + sheet.board.size_mm[1]) * PX_PER_MM) + 2
    assert picture[below : below + int(2 * PX_PER_MM)].min() == 255


@pytest.mark.parametrize("sheet", SHEETS, ids=NAMES)
def test_text_says_what_to_type_and_how_to_print(sheet: Sheet) -> None:
    pdf = sheet_pdf(sheet)
    text = " ".join(text_of(pdf).split())
    assert "Print at 100 %, no scaling." in text
    assert "--ruler-mm" in text
    assert f"restmark lens STILLS {sheet.board.options}" in text
    assert "100 mm" in text
    assert b"/PrintScaling /None" in pdf


def test_board_is_lines_not_a_picture() -> None:
    pdf = sheet_pdf(SHEETS[0])
    assert b"/Image" not in pdf.replace(b"/ImageB", b"").replace(b"/ImageC", b"").replace(
        b"/ImageI", b""
    )
    assert len(pdf) < 40_000
    assert pdf == sheet_pdf(SHEETS[0])


def test_default_board_is_the_lens_commands_default_on_a3() -> None:
    assert default_square_mm("A3", (7, 10)) == BoardPattern().square_mm == 40.0
    assert [default_square_mm(paper, (7, 10)) for paper in ("A4", "letter")] == [27.0, 26.0]
    for paper, (wide, high) in PAPERS_MM.items():
        side = largest_square_mm(paper, (7, 10))
        assert 7 * side <= wide - 2 * UNPRINTABLE_MM + 1e-9
        assert 10 * side <= high - 2 * UNPRINTABLE_MM - CAPTION_MM + 1e-9
    assert lay_out("A4", BoardPattern(squares=(10, 7), square_mm=27.0, marker_mm=20.0)).page_mm == (
        297.0,
        210.0,
    )


def test_what_does_not_fit_is_refused_with_what_fits() -> None:
    with pytest.raises(
        CalibrationError,
        match=r"board\.square_mm: got 40, that is 280 x 400 mm .*allowed on A4: up to 27\.8 mm",
    ):
        lay_out("A4", BoardPattern())
    lay_out("A4", BoardPattern(square_mm=27.8, marker_mm=20.0))
    with pytest.raises(CalibrationError, match=r"paper: got 'A5'; allowed: A3, A4, letter"):
        lay_out("A5", BoardPattern())
    with pytest.raises(CalibrationError, match=r"sheet: got a pattern of 280 x 400 mm on a page"):
        Sheet(board=BoardPattern(), paper="A4", page_mm=(210.0, 297.0))


def test_sheet_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "board.pdf"
    path.write_bytes(b"old")
    write_sheet(path, SHEETS[1])
    assert path.read_bytes() == sheet_pdf(SHEETS[1])
    with pytest.raises(FileFormatError, match=r"gone/board\.pdf: cannot be written"):
        write_sheet(tmp_path / "gone" / "board.pdf", SHEETS[1])
    assert list(tmp_path.iterdir()) == [path]


def test_board_command_prints_the_options_that_lens_takes(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "board.pdf"
    assert main(["board", "--out", str(out), "--paper", "a4"]) == 0
    text = capsys.readouterr().out
    assert "--squares 7x10 --square-mm 27 --marker-mm 20.25 --dictionary 5X5_250" in text
    assert "print at 100 %, no scaling" in text
    assert out.read_bytes() == sheet_pdf(SHEETS[1])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--paper", "A4", "--square-mm", "40"], "allowed on A4: up to 27.8 mm a square"),
        (["--squares", "ten"], "board.squares: got 'ten'; allowed: COLUMNSxROWS"),
        (["--marker-mm", "45"], "board.marker_mm: got 45.0; allowed: more than 0 and less than"),
        (["--squares", "40x40"], "got '5X5_250' with 250 markers; allowed: one with 800 or more"),
        (["--square-mm", "nan"], "board.square_mm: got nan; allowed: a finite number"),
        (["--dictionary", "9X9"], "board.dictionary: got '9X9'"),
    ],
)
def test_board_command_refuses_what_cannot_be_printed(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, arguments: list[str], words: str
) -> None:
    out = tmp_path / "board.pdf"
    assert main(["board", "--out", str(out), *arguments]) == 1
    assert words in capsys.readouterr().err
    assert not out.exists()
