"""The finder on the second backend, by a stand-in for the library."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.table import Table
from service.cli import main
from service.desk.readers import TableReaders
from vision.find import detect_ultralytics
from vision.find.detect import candidates
from vision.find.detect_ultralytics import BackendError, UltralyticsFinder, finder_here
from vision.find.finder_view import VIEW_COLUMNS, VIEW_ROWS, FinderView
from vision.networks import WeightsError
from vision.read import Reader
from vision.truth.file import read_truth

OTHERS = Path(__file__).parents[1] / "sample_frames" / "others"
EXACT_PX = 1e-4
"""Corners to middles and sizes in single precision."""


class Tensor:
    """As much of a tensor as is asked for."""

    def __init__(self, values: Any) -> None:
        self.values = np.asarray(values, dtype=np.float32)

    def cpu(self) -> Tensor:
        return self

    def numpy(self) -> NDArray[np.float32]:
        return self.values


class StandIn:
    """Stands in for a loaded model: says the boxes that it was given, keeps what it was asked."""

    def __init__(self, path: str = "", task: str = "", said: Any = ()) -> None:
        self.path, self.task, self.said = path, task, np.reshape(said, (-1, 6))
        self.asked: dict[str, Any] = {}

    def predict(self, view: NDArray[np.uint8], **asked: Any) -> list[Any]:
        self.asked = asked
        assert view.shape[2] == 3
        boxes = SimpleNamespace(
            xyxy=Tensor(self.said[:, :4]), conf=Tensor(self.said[:, 4]), cls=Tensor(self.said[:, 5])
        )
        return [SimpleNamespace(boxes=boxes)]


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    module = ModuleType("ultralytics")
    module.YOLO = StandIn  # type: ignore[attr-defined]  # a stand-in module is made by hand
    monkeypatch.setitem(sys.modules, "ultralytics", module)
    return module


BLANK = np.zeros((VIEW_ROWS, VIEW_COLUMNS, 3), np.uint8)


def test_boxes_are_turned_into_middles_and_two_scores() -> None:
    model = StandIn(said=[(100, 200, 118, 220, 0.9, 0), (10, 20, 50, 120, 0.4, 1)])
    finder = UltralyticsFinder(model=model, device="0")
    expected = [(109, 210, 18, 20, 0.9, 0), (30, 70, 40, 100, 0, 0.4)]
    np.testing.assert_allclose(finder.boxes(BLANK), expected, rtol=0, atol=EXACT_PX)
    assert model.asked["device"] == "0"
    assert model.asked["imgsz"] == (VIEW_ROWS, VIEW_COLUMNS)
    assert model.asked["conf"] <= 0.06


def test_a_part_of_the_view_is_taken_as_it_is() -> None:
    model = StandIn(said=[(0, 0, 18, 18, 0.9, 0)])
    UltralyticsFinder(model=model, device="cpu").boxes(BLANK[:96, :160])
    assert model.asked["imgsz"] == (96, 160)


def test_an_empty_view_gives_no_boxes() -> None:
    finder = UltralyticsFinder(model=StandIn(), device="cpu")
    assert finder.boxes(BLANK).shape == (0, 6)


def test_boxes_of_true_balls_become_candidates_at_the_balls() -> None:
    truth = read_truth(OTHERS)["other-03.jpg"]
    table: Table = truth.calibration.table
    view = FinderView.of(truth.calibration.camera, table)
    places = np.array([(ball.x_mm, ball.y_mm) for ball in truth.balls])
    middle = view.to_view(places) + 0.5
    said = np.column_stack(
        [middle - 9, middle + 9, np.full(len(middle), 0.8), np.zeros(len(middle))]
    )
    boxes = UltralyticsFinder(model=StandIn(said=said), device="cpu").boxes(BLANK)
    found = candidates(boxes, view, table)
    away = np.linalg.norm(found.centre_mm[:, None] - places[None], axis=-1).min(axis=0)
    assert away.max() < 0.01


def test_a_reader_reads_with_another_finder() -> None:
    still = "other-03.jpg"
    truth = read_truth(OTHERS)[still]
    reader = Reader(truth.calibration)
    shipped = reader.read_still((OTHERS / still).read_bytes(), name=still)
    blind = Reader(
        truth.calibration, finder=UltralyticsFinder(model=StandIn(), device="cpu")
    ).read_still((OTHERS / still).read_bytes(), name=still)
    assert shipped.balls
    assert not blind.balls


def test_weights_are_opened_by_the_library(library: ModuleType, tmp_path: Path) -> None:
    path = tmp_path / "mine.onnx"
    path.write_bytes(b"weights")
    finder = UltralyticsFinder.load(path, device="1")
    assert (finder.model.path, finder.model.task, finder.device) == (str(path), "detect", "1")
    shipped = UltralyticsFinder.load()
    assert Path(shipped.model.path).name == detect_ultralytics.WEIGHTS_FILE
    assert Path(shipped.model.path).is_file()


@pytest.mark.parametrize("name", ["none.pt", "finder.txt"])
def test_paths_that_are_no_weights_are_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "finder.txt").write_text("no weights", encoding="utf-8")
    with pytest.raises(WeightsError, match=r"weights: got .*; allowed: an existing file .*\.onnx"):
        UltralyticsFinder.load(tmp_path / name)


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ultralytics", None)
    with pytest.raises(BackendError, match=r"extra train. Run pip install 'restmark\[train\]'"):
        UltralyticsFinder.load()


@pytest.fixture
def without_cards(library: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The library on a machine without a graphics card."""
    torch = ModuleType("torch")
    torch.cuda = SimpleNamespace(is_available=lambda: False)  # type: ignore[attr-defined]  # as above
    monkeypatch.setitem(sys.modules, "torch", torch)
    finder_here.cache_clear()
    yield
    finder_here.cache_clear()


@pytest.fixture
def room(tmp_path: Path) -> list[str]:
    """Words for `read`: a sample still and its calibration."""
    read_truth(OTHERS)["other-03.jpg"].calibration.write(tmp_path / "table.json")
    return ["read", str(OTHERS / "other-03.jpg"), "--calibration", str(tmp_path / "table.json")]


@pytest.mark.usefixtures("without_cards")
def test_read_takes_the_finder_and_weights_of_ones_own(
    room: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weights = tmp_path / "mine.pt"
    weights.write_bytes(b"weights")
    told = [*room, "--json", "--finder", "ultralytics", "--weights", str(weights)]
    assert main(told) == 0
    assert json.loads(capsys.readouterr().out)["balls"] == []  # the stand-in sees nothing
    assert finder_here(weights).model.path == str(weights)


@pytest.mark.parametrize("command", ["read", "serve", "bench"])
def test_commands_say_what_to_install(
    command: str,
    room: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    finder_here.cache_clear()
    monkeypatch.setitem(sys.modules, "ultralytics", None)
    told = {
        "read": room,
        "serve": ["serve", "--data", str(tmp_path / "data")],
        "bench": ["bench", "--stills", str(OTHERS)],
    }[command]
    assert main([*told, "--finder", "ultralytics"]) == 1
    assert "pip install 'restmark[train]'" in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


def test_weights_need_the_finder_that_runs_them(
    room: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*room, "--weights", "mine.pt"]) == 1
    assert "--finder ultralytics" in capsys.readouterr().err


@pytest.mark.usefixtures("library")
def test_readings_are_kept_with_the_weights_that_found_their_balls(tmp_path: Path) -> None:
    said = {TableReaders().weights}
    for name in ("a.pt", "b.pt"):
        (tmp_path / name).write_bytes(name.encode())
        said.add(TableReaders(UltralyticsFinder.load(tmp_path / name)).weights)
    assert len(said) == 3
    assert {len(weights) for weights in said} == {64}
