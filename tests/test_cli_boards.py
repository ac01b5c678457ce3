"""`restmark lens` on drawn stills: a line a still, coverage, ruler bar, bad stills by reason."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn_board import board_cameras, draw_board

from calibration.camera import Camera
from calibration.lens.board import BoardPattern
from calibration.lens.file import REJECTIONS, Lens
from service.cli import main

BOARD = BoardPattern(square_mm=27.0, marker_mm=20.25)
CAMERA = Camera(
    image_size_px=(960, 720),
    fx_px=800.0,
    fy_px=800.0,
    cx_px=486.0,
    cy_px=355.0,
    distortion=(-0.12, 0.03, 0.0, 0.0, 0.0),
)


@pytest.fixture(scope="module")
def stills(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Six good stills, then a blurred, a small, an empty and a cut-off one."""
    folder = tmp_path_factory.mktemp("stills")
    cameras = board_cameras(CAMERA, BOARD, 6, np.random.default_rng(3))
    pictures = {f"board-{i}.png": draw_board(c, BOARD, seed=i) for i, c in enumerate(cameras)}
    pictures["soft.png"] = cv2.GaussianBlur(pictures["board-0.png"], (0, 0), 3.0)
    pictures["small.png"] = np.asarray(cv2.resize(pictures["board-1.png"], (640, 480)))
    pictures["desk.png"] = np.full((720, 960), 120, np.uint8)
    for name, picture in pictures.items():
        cv2.imwrite(str(folder / name), picture)
    (folder / "cut.png").write_bytes((folder / "board-2.png").read_bytes()[:5000])
    return [folder / name for name in [*pictures, "cut.png"]]


def lens(*arguments: object) -> int:
    square = ["--square-mm", "27"]
    return main(["lens", *(str(a) for a in arguments), *square])


def test_lens_prints_a_line_a_still_and_writes_the_same(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, stills: list[Path]
) -> None:
    out = tmp_path / "lens.json"
    assert lens(*stills, "--out", out, "--ruler-mm", "99.4") == 0
    text = capsys.readouterr().out
    lines = [line.split() for line in text.splitlines()]
    made = Lens.read(out)
    fate = {Path(still.name).name: still for still in made.stills}
    assert list(fate) == ["cut.png", *[path.name for path in stills[:-1]]]
    assert {still.code for still in made.stills} <= {"", *REJECTIONS}
    for name, still in fate.items():
        row = next(line for line in lines if line[0] == name)
        if still.used:
            wanted = [f"{still.corners}", f"{still.edge_px:.1f}", f"{still.rms_px:.3f}"]
            assert row[1:] == [*wanted, f"{still.held_out_px:.3f}", "used"]
        else:
            assert row[-1] == still.code
            assert still.reason in text
    codes = [fate[name].code for name in ("soft.png", "small.png", "desk.png", "cut.png")]
    assert codes == ["blurred", "other-size", "no-board", "bad-still"]
    assert "6 of 10 stills used" in text
    assert "--square-mm 26.838 --marker-mm 20.1285" in text
    assert "scaled by its 100 mm bar, which measures 99.4 mm" in text
    ninths = text.split("each ninth of the picture")[1].splitlines()[1:4]
    shown = [int(part) for line in ninths for part in line.replace("%", "").split()]
    assert shown == [round(100 * part) for part in made.coverage_by_region]


def test_lens_file_names_board_and_ruler(tmp_path: Path, stills: list[Path]) -> None:
    out = tmp_path / "lens.json"
    assert lens(*stills[:6], "--out", out) == 0
    data = json.loads(out.read_text(encoding="utf-8"))
    assert data["board"] == BOARD.to_dict()
    assert data["ruler_mm"] is None


@pytest.mark.parametrize(
    ("count", "options", "words"),
    [
        (6, ["--ruler-mm", "9.94"], "ruler_mm: got 9.94; allowed: 50 to 200"),
        (4, [], "got 4 usable board stills; allowed: 5 or more"),
    ],
)
def test_lens_refuses_and_writes_nothing(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    stills: list[Path],
    count: int,
    options: list[str],
    words: str,
) -> None:
    out = tmp_path / "lens.json"
    assert lens(*stills[:count], "--out", out, *options) == 1
    assert words in capsys.readouterr().err
    assert not out.exists()
