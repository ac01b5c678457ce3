"""The command line on the sample stills: every command of the job, one after the other."""

import json
import math
import re
import shutil
import socket

import numpy as np
import pytest
from sample_trial import finished_demo

from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from service import api
from service.bench import whole as bench_all
from service.cli import main
from service.demo import show as demo
from service.demo.samples import EMPTY_STILL, SHOTS_FOLDER, sample_folder, sample_stills
from service.practice import Plan
from service.words.calibration import calibration_lines
from service.words.lengths import Units
from vision.truth.file import read_truth

SAME_LENS_SHARE = 1e-5
"""The fit sums in parallel, so its last digits differ from run to run."""
SAME_FIT_MM = 0.02
"""The same of a calibration on that lens."""
SAME_PLACE_MM = 0.1
"""A still read after another is aimed by it, and a place hangs a little on where it was aimed."""
CUE_LIMIT_MM = 3.0
"""Worst error allowed of a cue ball in a sample still, calibration included."""


def run(*arguments):
    return main([str(a) for a in arguments])


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """lens.json and table.json as the commands write them."""
    folder = tmp_path_factory.mktemp("files")
    boards = sample_stills("practice/boards")
    assert run("lens", *boards, "--out", folder / "lens.json") == 0
    code = run(
        "calibrate", sample_folder(EMPTY_STILL), "--surface", "9ft", "--head", "left",
        "--lens", folder / "lens.json", "--out", folder / "table.json",
    )  # fmt: skip
    assert code == 0
    return folder


def test_lens_and_calibrate_write_what_the_demo_makes(files):
    trial = finished_demo().trial
    lens, made = Lens.read(files / "lens.json"), Calibration.read(files / "table.json")
    assert lens.values == pytest.approx(trial.lens.values, rel=SAME_LENS_SHARE, abs=1e-6)
    corner_px = [[100.0, 900.0]]
    assert made.table_mm(corner_px)[0] == pytest.approx(
        trial.calibration.table_mm(corner_px)[0], rel=0, abs=SAME_FIT_MM
    )


def test_calibrate_says_what_settled_the_scale(capsys, tmp_path):
    """Without a lens file, by tape measure: it works, and the result says so."""
    truth = next(iter(read_truth(sample_folder(SHOTS_FOLDER)).values()))
    height_mm = round(float(truth.camera.position_mm[2]))
    code = run(
        "calibrate", sample_folder(EMPTY_STILL), "--surface", "9ft",
        "--camera-height", height_mm, "--out", tmp_path / "table.json",
    )  # fmt: skip
    text = capsys.readouterr().out
    assert code == 0
    assert "settled by the measured camera height" in text
    assert "stated error (budget)" in text


def test_read_finds_the_cue_ball_where_it_lies(capsys, files):
    stills = sample_stills(SHOTS_FOLDER)[:2]
    truth = read_truth(sample_folder(SHOTS_FOLDER))
    capsys.readouterr()
    assert run("read", *stills, "--calibration", files / "table.json", "--json") == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    for path, line in zip(stills, lines, strict=True):
        assert line["still"] == str(path)
        found = {ball["id"]: ball for ball in line["balls"]}
        for ball in truth[path.name].balls:
            if ball.id == "cue":
                off = math.hypot(found["cue"]["x_mm"] - ball.x_mm, found["cue"]["y_mm"] - ball.y_mm)
                assert off < CUE_LIMIT_MM


def test_read_and_calibrate_say_lengths_in_the_unit_asked_for(capsys, files):
    (still,) = sample_stills(SHOTS_FOLDER)[:1]
    table = ("--calibration", files / "table.json")
    cue = {}
    for units in ("mm", "inches", "diamonds"):
        capsys.readouterr()
        assert run("read", still, *table, "--units", units) == 0
        (line,) = (line for line in capsys.readouterr().out.splitlines() if "cue ball" in line)
        cue[units] = np.array([float(word) for word in line.split()[2:5]])
    for units, unit_mm in (("inches", 25.4), ("diamonds", 2540 / 8)):
        # half of the last digit of each
        assert cue[units] == pytest.approx(cue["mm"] / unit_mm, rel=0, abs=0.008), units
    inches = calibration_lines(Calibration.read(files / "table.json"), Units.INCHES)
    assert inches[1].startswith("table 100.0 x 50.0 in (2540 x 1270 mm)")
    assert re.match(r"good enough to trust: within 0\.\d\d in over the bed", inches[0])
    assert not [line for line in inches[2:] if re.search(r"\d mm", line)]


def test_score_takes_stills(capsys, files, tmp_path):
    shots = sample_folder(SHOTS_FOLDER)
    intent = Plan.read(shots / "plan.json").intent(1)
    path = tmp_path / "intent.json"
    path.write_text(json.dumps(intent.to_dict()))
    capsys.readouterr()
    code = run(
        "score", shots / "shot-01-before.jpg", shots / "shot-01-after.jpg", "--calibration",
        files / "table.json", "--intent", path, "--json",
    )  # fmt: skip
    assert code == 0
    verdict = json.loads(capsys.readouterr().out)
    shown = finished_demo().trial.result.attempts[0].verdict
    assert verdict["verdict"] == shown.verdict
    assert verdict["potted"] == list(shown.potted)


def test_session_takes_a_folder_of_stills_with_its_plan(capsys, files, tmp_path):
    """The folder holds plan and truth beside the stills; the figures are those of the demo."""
    for path in sample_folder(SHOTS_FOLDER).iterdir():
        if path.suffix == ".json" or path.name[:7] in ("shot-01", "shot-02", "shot-03"):
            shutil.copy(path, tmp_path)
    capsys.readouterr()
    code = run("session", tmp_path, "--calibration", files / "table.json", "--json")
    captured = capsys.readouterr()
    assert code == 0, captured.err
    *attempts, last = [json.loads(line) for line in captured.out.splitlines()]
    shown = finished_demo().trial.result.attempts[:3]
    assert [a["after"] for a in attempts] == [a.after for a in shown]
    for read, known in zip(attempts, shown, strict=True):
        assert read["verdict"] == known.verdict.verdict
        assert read["miss_mm"] == pytest.approx(known.verdict.miss_mm, rel=0, abs=SAME_PLACE_MM)
    assert last["summary"]["attempts"] == 3


def test_demo_command_prints_and_passes_its_folder(capsys, monkeypatch, tmp_path):
    asked = []

    def run_demo(folder, **settings):
        asked.append(folder)
        settings["announce"]("working")
        return finished_demo()

    monkeypatch.setattr(demo, "run_demo", run_demo)
    monkeypatch.setattr(demo, "serve_demo", lambda done, **settings: asked.append(settings["port"]))
    assert run("demo", "--out", tmp_path / "here", "--serve", "--port", 8123) == 0
    captured = capsys.readouterr()
    assert asked == [tmp_path / "here", 8123]
    assert "good enough to trust: within" in captured.out
    assert captured.err.strip() == "working"


def test_bench_command_prints_json(capsys, monkeypatch):
    monkeypatch.setattr(bench_all, "run_bench", lambda **settings: {"format": "restmark-bench"})
    assert run("bench", "--json") == 0
    assert json.loads(capsys.readouterr().out) == {"format": "restmark-bench"}


def test_serve_command_passes_what_was_given(monkeypatch, tmp_path):
    served = []
    monkeypatch.setattr(api, "serve", lambda *given, **named: served.append((given, named)))
    code = run(
        "serve", "--data", tmp_path, "--host", "localhost", "--port", 8123,
        "--calibration", tmp_path / "table.json",
    )  # fmt: skip
    assert code == 0
    ((given, named),) = served
    assert given == (tmp_path, "localhost", 8123)
    assert named["open_calibration"] == tmp_path / "table.json"


def test_serve_refuses_a_taken_port_in_one_line(capsys, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert run("serve", "--data", tmp_path / "data", "--port", port) == 1
    captured = capsys.readouterr()
    assert captured.err.startswith(f"error: 127.0.0.1 port {port}: cannot be served on")
    assert len(captured.err.splitlines()) == 1
