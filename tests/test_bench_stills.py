"""The bench of a folder of stills: what it counts, what it compares with, what it times."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from calibration.errors import FileFormatError
from calibration.kept.calibration import Calibration
from service.bench import memory as bench_memory
from service.bench import whole as bench_all
from service.bench.memory import memory_figures
from service.bench.position import position_figures, print_position
from service.bench.practice import machine
from service.bench.stills import predict as bench_predict
from service.bench.stills import time as bench_time
from service.bench.stills.circles import (
    SWEEP,
    Circled,
    agreement,
    circle_figures,
    circled,
    print_circles,
)
from service.bench.stills.figures import figures_of, run_bench_stills
from service.bench.stills.next_still import with_one_moved
from service.bench.stills.predict import predict_figures
from service.bench.stills.readings import BenchStill, StillResult, bench_stills, fitted_calibration
from service.bench.stills.tables import print_bench_stills
from service.bench.stills.time import print_bench_time, run_bench_time, timed, wrong_balls
from service.cli import main
from service.demo.samples import OTHERS_FOLDER, sample_folder
from vision.layout import Ball, Layout
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import TruthBall
from vision.truth.measure import match_layout, nearest_pairs

CLEAR, OBSTRUCTED = "other-03.jpg", "other-08.jpg"
PRACTICE = sample_folder("practice")
SAME_MM = 1.0
"""A ball that did not move, read again with new noise; several times its error."""
THERE_MM = 3.0
"""A ball that was carried by whole pixels: half a pixel, and the wrong side of its shading."""
THREADS = """
now = [7]
def get_num_threads():
    return now[0]
def set_num_threads(count):
    now[0] = count
"""
"""What stands in for the library that counts threads."""
SURFACE = (2540.0, 1270.0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clear and an obstructed still of two rooms, with their truth."""
    here = tmp_path_factory.mktemp("rooms")
    _copied(here, sample_folder(OTHERS_FOLDER), [CLEAR, OBSTRUCTED])
    return here


@pytest.fixture(scope="module")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The practice's empty still and one of its shots, as they lie in the samples."""
    here = tmp_path_factory.mktemp("practice")
    _copied(here, PRACTICE, ["empty.jpg"])
    name = next(iter(_truth(PRACTICE / "shots")["stills"]))
    _copied(here / "shots", PRACTICE / "shots", [name])
    return here


@pytest.fixture(scope="module")
def figures(folder: Path) -> dict[str, Any]:
    return run_bench_stills(folder, workers=1)


def _truth(place: Path) -> dict[str, Any]:
    return dict(json.loads((place / "truth.json").read_text(encoding="utf-8")))


def _copied(here: Path, source: Path, names: list[str]) -> None:
    here.mkdir(exist_ok=True)
    truth = _truth(source)
    for name in names:
        shutil.copy(source / name, here / name)
    kept = {**truth, "stills": {name: truth["stills"][name] for name in names}}
    (here / "truth.json").write_text(json.dumps(kept), encoding="utf-8")


def _printed(show: Callable[[Any, Console], None], figures: object) -> str:
    console = Console(width=150)
    with console.capture() as caught:
        show(figures, console)
    return caught.get()


# -- readings --------------------------------------------------------------------------------


def test_a_folder_is_read_and_counted(figures: dict[str, Any]) -> None:
    assert json.loads(json.dumps(figures, allow_nan=False)) == figures
    assert (figures["format"], figures["version"]) == ("restmark-bench-stills", 1)
    assert (figures["stills"], figures["rooms"]) == (2, 2)
    read = figures["read"]["true calibration"]
    assert (read["clear"], read["balls"], read["missed"], read["invented"]) == (1, 8, 0, 0)
    assert (read["obstructed_refused_share"], read["clear_refused_share"]) == (1.0, 0.0)
    assert 0 < read["places"]["plain"]["median_mm"] < read["places"]["all"]["worst_mm"] < 2.0
    assert {"maps (once a calibration)", "decode", "find", "place", "whole"} <= set(read["step_ms"])
    assert sum(row["balls"] for row in read["variance"]["regions"].values()) == 8
    assert list(read["variance"]["noise"]) == ["noise 0.42–0.42 %"]


def test_two_processes_give_what_one_gives(folder: Path, figures: dict[str, Any]) -> None:
    def apart(read: dict[str, Any]) -> dict[str, Any]:
        return {key: value for key, value in read.items() if key != "step_ms"}

    both = run_bench_stills(folder)
    assert apart(both["read"]["true calibration"]) == apart(figures["read"]["true calibration"])
    assert both["circles"] == figures["circles"]


def test_fitted_is_read_with_the_rooms_empty_still(shots: Path) -> None:
    (still,) = bench_stills(shots)
    assert still.empty == shots / "empty.jpg"
    made = fitted_calibration(still.empty)
    assert made.camera != still.truth.camera
    assert made.scale_source == "lens file"
    read = run_bench_stills(shots, fitted=True, workers=1)["read"]
    assert list(read) == ["true calibration", "fitted calibration"]
    for row in read.values():
        assert row["missed"] + row["invented"] == 0
        assert row["places"]["plain"]["worst_mm"] < SAME_MM


def test_fitted_without_an_empty_still_is_refused(folder: Path) -> None:
    with pytest.raises(FileFormatError, match=r"got no still named …empty .* --fitted"):
        run_bench_stills(folder, fitted=True, workers=1)


def test_a_folder_without_balls_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match=r"got no still with balls .*--seed 710000"):
        bench_stills(tmp_path)


def test_tables_for_people_hold_the_figures(figures: dict[str, Any]) -> None:
    words = _printed(print_bench_stills, figures)
    read = figures["read"]["true calibration"]
    assert f"{read['places']['plain']['median_mm']:.2f}" in words
    assert "left head" in words or "middle centre" in words
    assert "measured / predicted variance" in words
    assert "2 stills of 2 rooms" in words
    assert "for comparison, cv2.HoughCircles in 1 clear stills" in words


def _ball(name: str, x_mm: float, y_mm: float, *, doubtful: bool = False) -> Ball:
    return Ball(id=name, x_mm=x_mm, y_mm=y_mm, cov_mm2=((1.0, 0.0), (0.0, 1.0)), doubtful=doubtful)


def _result(
    found: list[Ball], true: list[TruthBall], *, obstructed: bool = False, refused: bool = False
) -> StillResult:
    layout = Layout(still="a.jpg", surface_mm=SURFACE, balls=tuple(found))
    return StillResult(
        still="a.jpg", surface_mm=SURFACE, obstructed=obstructed, refused=refused, noise=None,
        matched=match_layout(layout, true),
    )  # fmt: skip


def test_counting() -> None:
    true = [
        TruthBall(id="cue", x_mm=100, y_mm=1200),
        TruthBall(id="1", x_mm=1270, y_mm=600),
        TruthBall(id="2", x_mm=2400, y_mm=100, visible=0.5),
        TruthBall(id="3", x_mm=700, y_mm=300),
        TruthBall(id="4", x_mm=700, y_mm=700),
    ]
    found = [
        _ball("cue", 100, 1202), _ball("9", 1271, 600), _ball("2", 2400, 110, doubtful=True),
        _ball("4", 700, 706), _ball("5", 1800, 600),
    ]  # fmt: skip
    results = [
        _result(found, true),
        _result([], true[:1], refused=True),
        _result([], true, obstructed=True, refused=True),
        _result(found, true, obstructed=True),
    ]
    got = figures_of(results)
    assert (got["balls"], got["found"], got["missed"], got["invented"]) == (6, 4, 2, 1)
    assert (got["found_share"], got["invented_a_still"]) == (pytest.approx(4 / 6), 0.5)
    assert (got["wrong_names"], got["names_right"], got["doubtful"]) == (1, 0.75, 1)
    assert (got["undoubted_wrong"], got["undoubted_wrong_share"]) == (1, pytest.approx(1 / 3))
    assert (got["cue_balls"], got["cue_right"], got["cue_told_wrongly"]) == (2, 1, 0)
    plain, every = got["places"]["plain"], got["places"]["all"]
    assert (plain["balls"], plain["median_mm"], plain["worst_mm"]) == (3, 2.0, 6.0)
    assert (every["balls"], every["worst_mm"], every["coverage_95"]) == (4, 10.0, 0.5)
    regions = got["variance"]["regions"]
    assert regions["left head"]["variance"] == regions["left head"]["typical"] == 2.0
    assert regions["middle centre"]["variance"] == 0.5
    assert "right foot" not in regions
    assert (got["obstructed"], got["obstructed_refused"], got["clear_refused"]) == (2, 1, 1)
    assert got["clear_refused_share"] == 0.5
    assert got["odd"] == [
        "a.jpg: 3 missed at 700, 300 mm, 100 % visible",
        "a.jpg: 5 invented at 1800, 600 mm",
        "a.jpg: 1 called 9 without doubt",
        "a.jpg: 4 6.0 mm off",
        "a.jpg: clear, refused",
        "a.jpg: cue missed at 100, 1200 mm, 100 % visible",
        "a.jpg: obstructed, not refused",
    ]


def test_nearest_pairs_are_nearest_in_sum_and_near() -> None:
    true = np.array([(0.0, 0.0), (10.0, 0.0), (500.0, 0.0)])
    found = np.array([(9.0, 0.0), (-8.0, 0.0), (900.0, 0.0)])
    assert nearest_pairs(true, found, within_mm=20) == [(0, 1), (1, 0)]
    assert nearest_pairs(true, np.zeros((0, 2)), within_mm=20) == []


# -- circles ---------------------------------------------------------------------------------


def test_circles_are_a_comparison(folder: Path, figures: dict[str, Any]) -> None:
    circles, ours = figures["circles"], figures["read"]["true calibration"]
    assert (circles["stills"], circles["balls"], circles["swept"]) == (1, 8, len(SWEEP))
    assert circles["found_share"] > 0.5
    assert circles["noses_median_mm"] > 5 * ours["places"]["all"]["median_mm"]
    assert circles["settings"] in {voting.words for voting in SWEEP}
    assert circles["settings"] in _printed(print_circles, circles)


def test_the_sweeps_best_is_taken(folder: Path, figures: dict[str, Any]) -> None:
    (still,) = (s for s in bench_stills(folder) if not s.truth.obstructed)
    scores = [agreement([found]) for found in circled(still, votings=SWEEP)]
    assert len(set(scores)) > 1
    best = circled(still, votings=[v for v in SWEEP if v.words == figures["circles"]["settings"]])
    assert agreement(best) == max(scores)


def test_agreement_weighs_misses_and_inventions_alike() -> None:
    def found(count: int, missed: int, invented: int) -> Circled:
        return Circled(
            off_mm=(1.0,) * count, bed_off_mm=(1.0,) * count, missed=missed, invented=invented
        )

    assert agreement([found(9, 0, 0)]) == 1.0
    assert agreement([found(8, 2, 0)]) == agreement([found(8, 0, 2)]) == pytest.approx(16 / 18)
    assert agreement([found(0, 5, 5)]) == 0.0


def test_obstructed_stills_alone_give_no_circles(folder: Path) -> None:
    assert circle_figures([s for s in bench_stills(folder) if s.truth.obstructed]) is None


# -- time and memory -------------------------------------------------------------------------


def test_one_ball_moves_and_everything_else_stays(folder: Path) -> None:
    (still,) = (s for s in bench_stills(folder) if not s.truth.obstructed)
    picture = decode_still(still.path.read_bytes())
    later = with_one_moved(picture, still.truth, np.random.default_rng(1))
    assert later is not None
    after = decode_still(later.data).astype(float)
    assert (after != picture).mean() > 0.3
    reader = Reader(still.calibration)
    before, there = reader.read_still(still.path.read_bytes()), reader.read_still(later.data)
    assert {ball.id for ball in there.balls} == {ball.id for ball in before.balls}
    for ball in there.balls:
        was = before.ball(ball.id)
        assert was is not None
        wanted = later.to_mm if ball.id == later.ball else was.centre_mm
        most = THERE_MM if ball.id == later.ball else SAME_MM
        assert np.hypot(*np.subtract(ball.centre_mm, wanted)) < most, ball.id
    assert wrong_balls(there, later.balls) == 0
    assert wrong_balls(before, later.balls) == 2  # one gone, one there


def test_wrong_balls_are_missed_invented_or_misnamed_without_doubt() -> None:
    true = [TruthBall(id=name, x_mm=300.0 * k, y_mm=600) for k, name in enumerate("12345", 1)]
    found = (
        _ball("1", 300, 601), _ball("7", 600, 600), _ball("8", 900, 600, doubtful=True),
        _ball("5", 2000, 600),
    )  # fmt: skip
    layout = Layout(still="a.jpg", surface_mm=SURFACE, balls=found)
    assert wrong_balls(layout, true) == 1 + 2 + 1


def test_no_ball_with_room_to_go_is_no_next_still(folder: Path) -> None:
    (still,) = (s for s in bench_stills(folder) if not s.truth.obstructed)
    crowd = [
        TruthBall(id=str(k + 1), x_mm=1000 + 60.0 * k, y_mm=600) for k in range(3)
    ]  # fmt: skip
    truth = type(still.truth)(
        name="a.jpg", camera=still.truth.camera, table=still.truth.table, head=still.truth.head,
        balls=tuple(crowd),
    )  # fmt: skip
    picture = np.zeros((1080, 1920, 3), np.uint8)
    assert with_one_moved(picture, truth, np.random.default_rng(1)) is None


def test_times_stand_beside_decoding(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bench_time, "RUNS", 3)
    figures = run_bench_time(folder)
    assert figures["format"] == json.loads(json.dumps(figures, allow_nan=False))["format"]
    assert (figures["runs"], figures["predict"]) == (3, None)
    for key in ("still", "next_still"):
        row = figures[key]
        assert row["layout_ms"] > row["decode_ms"] > 0
        assert row["times_decode"] > 1
        assert row["layout_cpu_ms"] > 0
    for key in ("step_ms", "next_step_ms"):
        assert {"decode", "drift", "view", "find", "place", "identify"} <= set(figures[key])
    words = _printed(print_bench_time, figures)
    assert "times cv2.imdecode" in words
    assert "of 1920x1080" in words


def test_every_timed_still_is_new_to_its_reader(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (still,) = (s for s in bench_stills(folder) if not s.truth.obstructed)
    readers: list[Calibration] = []

    class Counted(Reader):
        def __init__(self, calibration: Calibration) -> None:
            readers.append(calibration)
            super().__init__(calibration)

    monkeypatch.setattr(bench_time, "Reader", Counted)
    run = timed(still, np.random.default_rng(1))
    timed(still, np.random.default_rng(1))
    assert len(readers) == 2
    assert all(made.rail_marks for made in readers)  # the check for drift has work to do
    assert run.next_layout is not None


def test_obstructed_stills_alone_are_not_timed(tmp_path: Path) -> None:
    _copied(tmp_path, sample_folder(OTHERS_FOLDER), [OBSTRUCTED])
    with pytest.raises(FileFormatError, match="all its stills are obstructed"):
        run_bench_time(tmp_path)


def test_predict_is_timed_in_a_process_of_its_own(
    folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A library of the same name stands in: it says what it was given."""
    place = tmp_path / "ultralytics"
    place.mkdir()
    (place / "__init__.py").write_text(
        "import time\n"
        "class YOLO:\n"
        "    def __init__(self, weights, task):\n"
        "        open(weights).close()\n"
        "    def predict(self, view, imgsz, device, verbose):\n"
        "        assert (list(view.shape[:2]), device) == (imgsz, 'cpu') == ([448, 832], 'cpu')\n"
        "        time.sleep(0.02)\n",
        encoding="utf-8",
    )
    (tmp_path / "torch.py").write_text(THREADS, encoding="utf-8")
    weights = tmp_path / "finder.pt"
    monkeypatch.setenv(
        "PYTHONPATH", f"{tmp_path}{os.pathsep}{Path(bench_time.__file__).parents[1]}"
    )
    monkeypatch.setattr(bench_predict, "find_spec", lambda name: name)
    clear = [s for s in bench_stills(folder) if not s.truth.obstructed]
    with pytest.raises(FileFormatError, match=r"finder\.pt: ultralytics cannot predict .*No such"):
        predict_figures(clear, weights)
    weights.write_bytes(b"")
    got = predict_figures(clear * 4, weights)
    assert got is not None
    assert (got["weights"], got["runs"]) == ("finder.pt", 4)
    own, all_cores = got["by_threads"]
    assert (own["threads"], all_cores["threads"]) == (7, machine()["cpus"])
    assert own["ms"] >= 20 > own["cpu_ms"]
    monkeypatch.setattr(bench_predict, "find_spec", lambda name: None)
    assert predict_figures(clear, weights) is None


def test_peak_memory_is_that_of_a_fresh_process(folder: Path) -> None:
    (still,) = (s for s in bench_stills(folder) if not s.truth.obstructed)
    held = np.ones(80_000_000)  # 640 MB here must not be counted there
    got = memory_figures([still.path], still.calibration, count=3)
    assert held.sum() == len(held)
    assert (got["stills"], got["layouts"]) == (3, 3)
    assert 60 < got["peak_mb"] < 450
    assert bench_memory.peak_mb() > 640


# -- command ---------------------------------------------------------------------------------


def test_position_times_are_printed() -> None:
    figures = position_figures(layouts=1)
    words = _printed(print_position, figures)
    assert f"{figures['map_ms']['median']:.1f}" in words
    assert "landing zone, one pocket" in words


def test_the_whole_bench_of_the_samples(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """All its parts are run and printed; those with tests of their own are stood in for."""
    from sample_trial import finished_demo

    trial = finished_demo().trial
    few: tuple[BenchStill, ...] = bench_stills(folder)
    assert len(bench_all.sample_stills()) == 24 + 12
    monkeypatch.setattr(bench_all, "run_trial", lambda **_: trial)
    monkeypatch.setattr(bench_all, "sample_stills", lambda: few)
    monkeypatch.setattr(bench_all, "RUNS", 2)
    monkeypatch.setattr(
        bench_all, "memory_figures", lambda paths, made: {"stills": 100, "peak_mb": len(paths)}
    )
    assert main(["bench", "--workers", "1"]) == 0
    words = capsys.readouterr().out
    for part in ("homography from four true corners", "cv2.HoughCircles in 1 clear",
                 "times cv2.imdecode", "read of 100 stills: peak memory 24 MB",
                 "verdict, zone known"):  # fmt: skip
        assert part in words


def test_folders_are_measured_in_turn(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.bench.drift import noticed as bench_drift

    asked: list[Path] = []

    def told(place: Path, **_: object) -> dict[str, Any]:
        asked.append(place)
        return {"cases": 0}

    monkeypatch.setattr(bench_drift, "drift_figures", told)
    code = main(
        ["bench", "--stills", str(folder), "--drift", str(PRACTICE), "--workers", "1", "--json"]
    )
    assert code == 0
    first, second = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert first["format"] == "restmark-bench-stills"
    assert (second, asked) == ({"cases": 0}, [PRACTICE])


def test_fitted_wants_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["bench", "--fitted"]) == 2
    assert "--fitted needs --stills" in capsys.readouterr().err
