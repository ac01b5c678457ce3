"""``restmark read`` with several cameras over one table."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from paired_kit import calibrations, still

from service.cli import main


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Camera → its calibration file."""
    folder = tmp_path_factory.mktemp("cameras")
    for name, made in calibrations().items():
        made.write(folder / f"{name}.json")
    return {name: folder / f"{name}.json" for name in calibrations()}


def run(*arguments: object) -> int:
    return main([str(each) for each in arguments])


def refusal(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert run(*arguments) == 1
    captured = capsys.readouterr()
    assert captured.out == ""
    return " ".join(captured.err.split())


def groups(files: dict[str, Path], a: list[Path], b: list[Path]) -> list[object]:
    return ["--calibration", files["a"], *a, f"--calibration={files['b']}", *b]


def test_two_cameras_give_one_object_a_moment(capsys, files) -> None:
    a, b = still("3", "a"), still("3", "b")
    assert run("read", "--json", *groups(files, [a, a], [b, b])) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["still"] for line in lines] == [f"{a} + {b}"] * 2
    assert lines[0]["hidden_mm"] == []
    assert [part["camera"] for part in lines[0]["cameras"]] == ["a", "b"]
    seen = {ball["id"]: ball["seen_by"] for ball in lines[0]["balls"]}
    assert (seen["cue"], seen["4"], seen["11"]) == (["a", "b"], ["a"], ["b"])
    assert lines[0]["balls"] == lines[1]["balls"]


def test_for_people_each_ball_and_each_camera_is_told(capsys, files) -> None:
    assert run("read", *groups(files, [still("3", "a")], [still("3", "b")])) == 0
    text = capsys.readouterr().out
    assert "9 balls" in text
    assert "seen by" in text
    assert "camera b agrees with the others" in text


def test_a_knocked_camera_is_named(capsys, files) -> None:
    assert run("read", *groups(files, [still("3", "a")], [still("knocked", "b")])) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "camera b was moved: calibrate it anew" in text
    assert "note: Camera b: Camera or table has moved since the calibration" in text


def test_a_still_that_is_missing_is_said_and_the_other_read_alone(capsys, files, tmp_path) -> None:
    gone = tmp_path / "gone.jpg"
    assert run("read", "--json", *groups(files, [still("3", "a")], [gone])) == 1
    captured = capsys.readouterr()
    made = json.loads(captured.out)
    assert [(p["camera"], p["state"]) for p in made["cameras"]] == [("a", "alone"), ("b", "away")]
    assert len(made["balls"]) == 8
    assert made["hidden_mm"] != []
    assert "Camera b is not used" in captured.err
    assert run("read", "--json", *groups(files, [gone], [gone])) == 1
    assert json.loads(capsys.readouterr().out)["error"]["code"] == "missing-file"


def test_what_does_not_belong_together_is_refused(capsys, files, tmp_path) -> None:
    a, b = still("3", "a"), still("3", "b")
    line = refusal(capsys, "read", *groups(files, [a, a], [b]))
    assert "stills: got 2 after" in line
    assert "1 after" in line
    line = refusal(capsys, "read", a, *groups(files, [], [b]))
    assert "stands before the first --calibration" in line
    line = refusal(capsys, "read", "--calibration", files["a"], a, "--calibration", files["a"], b)
    assert "more than once; allowed: one file a camera" in line
    made = calibrations()["b"]
    table = replace(made.table, length_mm=2500.0, width_mm=1250.0)
    replace(made, table=table, rail_marks=(), bed_picture=None).write(tmp_path / "other.json")
    line = refusal(capsys, "read", *groups({**files, "b": tmp_path / "other.json"}, [a], [b]))
    assert "allowed: calibrations of one table" in line


def test_pictures_of_another_size_leave_their_camera_out(capsys, files) -> None:
    small = Path(__file__).parent.parent / "sample_frames" / "practice" / "empty.jpg"
    assert run("read", *groups(files, [still("3", "a")], [small])) == 1
    captured = capsys.readouterr()
    assert "Camera b is not used" in captured.err
    assert "camera b is away" in captured.out


def test_one_calibration_takes_stills_before_and_behind_it(capsys, files) -> None:
    a = still("3", "a")
    assert run("read", a, "--calibration", files["a"], a, "--json") == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(lines) == 2
    assert "cameras" not in lines[0]


# -- sessions --------------------------------------------------------------------------------


@pytest.fixture
def folders(tmp_path: Path) -> dict[str, Path]:
    """Two moments by each camera."""
    out = {}
    for name in ("a", "b"):
        out[name] = tmp_path / f"by-{name}"
        out[name].mkdir()
        for k in (1, 2):
            shutil.copy(still("3", name), out[name] / f"{k}.jpg")
    return out


def test_a_session_reads_two_folders_together(capsys, files, folders) -> None:
    given = ["--calibration", files["a"], folders["a"], "--calibration", files["b"], folders["b"]]
    assert run("session", *given, "--json") == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line.get("event") for line in lines[:-1]] == ["nothing"]
    assert (lines[0]["before"], lines[0]["after"]) == ("1.jpg", "2.jpg")


def test_folders_that_do_not_go_together_are_refused(capsys, files, folders) -> None:
    given = ["--calibration", files["a"], folders["a"], "--calibration", files["b"], folders["b"]]
    (folders["b"] / "2.jpg").unlink()
    assert "got 2 of a, 1 of b; allowed: as many" in refusal(capsys, "session", *given)
    line = refusal(capsys, "session", *given[:-1], files["b"])
    assert "is no folder, and several --calibration were given" in line
    line = refusal(capsys, "session", folders["a"], folders["b"], "--calibration", files["a"])
    assert "got 2 sources; allowed: one" in line
