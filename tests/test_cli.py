"""The command line: contracts of its JSON, exit codes, and one clear line for every refusal."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.cli import main
from vision.layout import Ball, Layout

TABLE = Table()
SIZE_PX = (1280, 720)
ROUND_TRIP_MM = 1e-3
"""Project and back-project through the lens model agree to a micrometre."""
COV = ((0.2, 0.05), (0.05, 0.15))
INTENT = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [10, 40], "side": "either", "distance_mm": [200, 900], "cushion_mm": 60,
}  # fmt: skip
VERDICT_KEYS = [
    "verdict", "p_in", "miss_mm", "miss_vector_mm", "along_mm", "across_mm", "arrival",
    "cue_stop_mm", "cut_deg", "side", "hooked", "path_to_pocket", "frozen", "reach", "potted",
    "scratch", "pot_chance", "pot_chance_given_up", "zone_empty", "warnings",
    "arrival_from", "arrival_range_deg", "outside_zone_mm", "from_wanted_mm", "wanted_mm",
    "assumed",
]  # fmt: skip


def layout(name, *, obstructed=False, table=TABLE, **places):
    balls = tuple(
        Ball(id=key.lstrip("b"), x_mm=x, y_mm=y, cov_mm2=COV) for key, (x, y) in places.items()
    )
    return Layout(still=name, surface_mm=table.surface_mm, balls=balls, obstructed=obstructed)


BEFORE = layout("shot-1-before", cue=(700, 500), b3=(2000, 900), b4=(1500, 250), b8=(400, 1000))
IN = layout("shot-1-after", cue=(1750, 700), b4=(1500, 250), b8=(400, 1000))
OUT = layout("shot-2-after", cue=(1200, 900), b4=(1500, 250), b8=(400, 1000))


def save(path, data):
    path.write_text(json.dumps(data if isinstance(data, dict) else data.to_dict()))
    return path


@pytest.fixture
def camera():
    return Camera.looking(
        position_mm=(1270, 500, 2700), target_mm=(1270, 640, 0), up=(0, 1, 0),
        image_size_px=SIZE_PX, focal_px=1100, distortion=(-0.1, 0.01, 0, 0, 0),
    )  # fmt: skip


@pytest.fixture
def table_file(tmp_path, camera):
    made = Calibration(
        camera=camera, table=TABLE, head="left", scale_source="lens file",
        parameter_names=("lens_z_mm",), parameter_cov=((1.0,),),
    )  # fmt: skip
    path = tmp_path / "table.json"
    made.write(path)
    return path


@pytest.fixture
def intent_file(tmp_path):
    return save(tmp_path / "intent.json", INTENT)


def bare_still(camera, path):
    """The bed in one green with darker rails round it: a table without balls."""
    picture = np.full((SIZE_PX[1], SIZE_PX[0], 3), (40, 55, 80), np.uint8)
    x, y = TABLE.surface_mm
    corners = camera.project([(0, 0, 0), (x, 0, 0), (x, y, 0), (0, y, 0)])
    cv2.fillPoly(picture, [np.round(corners).astype(np.int32)], (96, 128, 52))
    noise = np.random.default_rng(1).normal(0, 2, picture.shape)
    picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


def run(*arguments):
    return main([str(a) for a in arguments])


def refusal(capsys, *arguments, code=1):
    """The one line on standard error of a command that must fail."""
    assert run(*arguments) == code
    captured = capsys.readouterr()
    lines = [line for line in captured.err.splitlines() if line.startswith("error: ")]
    assert len(lines) == 1, captured.err
    assert "Traceback" not in captured.err
    return lines[0]


# -- map -------------------------------------------------------------------------------------


def test_map_json_is_the_designed_object(capsys, table_file, camera):
    (u, v) = camera.project([(635.0, 317.5, 28.575)])[0]
    assert run("map", f"{u},{v}", "--calibration", table_file, "--json") == 0
    place = json.loads(capsys.readouterr().out)
    assert list(place) == ["u", "v", "x_mm", "y_mm", "cov_mm2"]
    assert (place["x_mm"], place["y_mm"]) == pytest.approx((635.0, 317.5), rel=0, abs=ROUND_TRIP_MM)
    assert np.asarray(place["cov_mm2"]).shape == (2, 2)
    assert place["cov_mm2"][0][0] > 0


def test_map_height_moves_the_plane(capsys, table_file, camera):
    (u, v) = camera.project([(100.0, 1200.0, 0.0)])[0]
    assert run("map", f"{u},{v}", "--calibration", table_file, "--height", 0, "--json") == 0
    place = json.loads(capsys.readouterr().out)
    assert (place["x_mm"], place["y_mm"]) == pytest.approx(
        (100.0, 1200.0), rel=0, abs=ROUND_TRIP_MM
    )


def test_map_reads_points_from_standard_input_and_goes_on_after_a_bad_line(
    capsys, monkeypatch, table_file
):
    monkeypatch.setattr(sys, "stdin", io.StringIO("640,360\n\nnonsense\n100, 100\n"))
    assert run("map", "-", "--calibration", table_file, "--json") == 1
    captured = capsys.readouterr()
    lines = [json.loads(line) for line in captured.out.splitlines()]
    assert [line.get("u") for line in lines] == [640.0, None, 100.0]
    assert lines[1]["error"]["code"] == "bad-point"
    assert "line 3: got 'nonsense'; allowed: U,V such as 960,540" in captured.err


def test_map_for_people_gives_error_and_diamonds(capsys, table_file):
    assert run("map", "640,360", "10,10", "--calibration", table_file) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2
    assert "mm (95 %)" in lines[0]
    assert "diamonds" in lines[0]


def test_map_refuses_a_pixel_outside_the_picture(capsys, table_file):
    line = refusal(capsys, "map", "-5,100", "--calibration", table_file)
    assert "pixel: got -5,100; allowed: inside the picture, 0,0 to 1279,719" in line


def test_map_takes_a_malformed_argument_for_wrong_usage(capsys, table_file):
    line = refusal(capsys, "map", "12;x", "--calibration", table_file, code=2)
    assert "got '12;x'; allowed: U,V such as 960,540" in line


# -- read ------------------------------------------------------------------------------------


def test_read_prints_one_object_a_line_and_goes_on_after_a_bad_still(
    capsys, tmp_path, table_file, camera
):
    good = bare_still(camera, tmp_path / "bare.jpg")
    bad = tmp_path / "notes.jpg"
    bad.write_text("not a picture")
    assert run("read", good, bad, good, "--calibration", table_file, "--json") == 1
    captured = capsys.readouterr()
    lines = [json.loads(line) for line in captured.out.splitlines()]
    assert [line["still"] for line in lines] == [str(good), str(bad), str(good)]
    pinned = ["still", "surface_mm", "settled", "obstructed", "balls", "hidden_mm", "unlike"]
    assert list(lines[0]) == [*pinned, "warnings", "notices"]
    assert lines[0]["surface_mm"] == [2540.0, 1270.0]
    assert lines[1]["error"]["code"] == "bad-still"
    assert f"{bad}: neither JPEG nor PNG" in lines[1]["error"]["detail"]
    assert captured.err.count("error: ") == 1


def test_read_for_people_names_still_and_count(capsys, tmp_path, table_file, camera):
    good = bare_still(camera, tmp_path / "bare.jpg")
    assert run("read", good, "--calibration", table_file) == 0
    assert "bare.jpg  0 balls" in capsys.readouterr().out


# -- score -----------------------------------------------------------------------------------


def test_score_json_is_the_designed_object(capsys, tmp_path, intent_file):
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", OUT)
    assert run("score", before, after, "--intent", intent_file, "--json") == 0
    verdict = json.loads(capsys.readouterr().out)
    assert list(verdict) == VERDICT_KEYS
    assert verdict["verdict"] == "out"
    assert verdict["potted"] == ["3"]
    assert verdict["miss_mm"] > 100


def test_score_for_people_uses_trade_words(capsys, tmp_path, intent_file):
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", OUT)
    assert run("score", before, after, "--intent", intent_file) == 0
    text = capsys.readouterr().out
    for words in ("Out by", "ball widths", "long", "left", "too much angle", "diamonds"):
        assert words in text


def test_score_refuses_an_intent_for_a_ball_that_is_not_there(capsys, tmp_path):
    intent = save(tmp_path / "intent.json", {**INTENT, "next": "15"})
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", IN)
    line = refusal(capsys, "score", before, after, "--intent", intent)
    assert "next: got '15', which is not on the table; allowed: the object balls there" in line


def test_score_refuses_an_obstructed_layout(capsys, tmp_path, intent_file):
    hidden = layout("after", obstructed=True, cue=(500, 500), b4=(1500, 250))
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", hidden)
    assert "lies over the playing surface" in refusal(
        capsys, "score", before, after, "--intent", intent_file
    )


def test_score_refuses_layouts_of_two_surfaces(capsys, tmp_path, intent_file):
    small = layout("after", table=Table.from_surface("7ft"), cue=(500, 500), b4=(1500, 250))
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", small)
    line = refusal(capsys, "score", before, after, "--intent", intent_file)
    assert "after.surface_mm: got 1981.2x990.6; allowed: 2540x1270 mm" in line


def test_score_wants_a_calibration_for_stills(capsys, tmp_path, camera, intent_file):
    still = bare_still(camera, tmp_path / "bare.jpg")
    line = refusal(capsys, "score", still, still, "--intent", intent_file)
    assert "is a still, and no --calibration was given" in line


def test_score_takes_one_layout_a_file(capsys, tmp_path, intent_file):
    both = tmp_path / "both.jsonl"
    both.write_text("\n".join(json.dumps(x.to_dict()) for x in (BEFORE, IN)))
    line = refusal(capsys, "score", both, both, "--intent", intent_file)
    assert "both.jsonl: got 2 layouts; allowed: one object" in line


# -- session ---------------------------------------------------------------------------------


@pytest.fixture
def session_folder(tmp_path):
    folder = tmp_path / "session"
    folder.mkdir()
    for number, after in ((1, IN), (2, OUT), (10, IN)):
        save(
            folder / f"shot-{number}-before.json",
            {**BEFORE.to_dict(), "still": f"s{number}-before"},
        )
        save(folder / f"shot-{number}-after.json", {**after.to_dict(), "still": f"s{number}-after"})
    save(folder / "plan.json", {"shots": [INTENT] * 3})
    return folder


def test_session_json_is_an_object_an_attempt_then_the_summary(capsys, session_folder):
    assert run("session", session_folder, "--json") == 0
    *attempts, last = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [a["attempt"] for a in attempts] == [1, 2, 3]
    assert [a["before"] for a in attempts] == ["s1-before", "s2-before", "s10-before"]
    assert [a["verdict"] for a in attempts] == ["in", "out", "in"]
    assert set(attempts[0]) == {"attempt", "before", "after", *VERDICT_KEYS}
    assert list(last) == ["summary"]
    assert last["summary"]["zone"]["successes"] == 2


def test_session_takes_a_file_of_layouts_and_a_plan(capsys, tmp_path):
    lines = tmp_path / "layouts.jsonl"
    lines.write_text("\n".join(json.dumps(x.to_dict()) for x in (BEFORE, IN)))
    plan = save(tmp_path / "my-plan.json", {"shots": [INTENT]})
    assert run("session", lines, "--plan", plan, "--json") == 0
    first = json.loads(capsys.readouterr().out.splitlines()[0])
    assert first["verdict"] == "in"


def test_session_for_people_gives_intervals(capsys, session_folder):
    assert run("session", session_folder) == 0
    text = capsys.readouterr().out
    assert "In the zone: 2 of 3 (95 % interval 21 to 94 %" in text


def test_session_keeps_a_refused_attempt_in_its_place(capsys, session_folder):
    hidden = {**OUT.to_dict(), "still": "s2-after", "obstructed": True}
    save(session_folder / "shot-2-after.json", hidden)
    assert run("session", session_folder, "--json") == 1
    captured = capsys.readouterr()
    lines = [json.loads(line) for line in captured.out.splitlines()]
    assert lines[1]["attempt"] == 2
    assert "error" in lines[1]
    assert lines[2]["verdict"] == "in"
    assert captured.err.startswith("error: attempt 2: ")


def test_session_without_a_plan_says_only_what_happened(capsys, session_folder):
    (session_folder / "plan.json").unlink()
    assert run("session", session_folder, "--json") == 0
    captured = capsys.readouterr()
    first = json.loads(captured.out.splitlines()[0])
    assert first["verdict"] is None
    assert first["potted"] == ["3"]
    assert "no --plan was given" in captured.err


def test_session_takes_a_lines_error_for_a_refused_still(capsys, session_folder):
    error = {"still": "s2-after", "error": {"code": "bad-still", "detail": "s2-after: cut off"}}
    save(session_folder / "shot-2-after.json", error)
    assert run("session", session_folder, "--json") == 1
    second = json.loads(capsys.readouterr().out.splitlines()[1])
    assert second["error"] == error["error"]


def test_session_refuses_what_is_no_folder(capsys, tmp_path):
    line = refusal(capsys, "session", tmp_path / "nowhere")
    assert "nowhere: is no folder; allowed: a folder of stills" in line
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "holds no stills (.jpg, .jpeg, .png, .heic" in refusal(capsys, "session", empty)


# -- bad input, nothing written half -----------------------------------------------------------


def bad_stills(folder):
    """Files that are no stills, with what the error says of each."""
    picture = np.random.default_rng(0).integers(0, 255, (SIZE_PX[1], SIZE_PX[0], 3), np.uint8)
    whole = cv2.imencode(".jpg", picture)[1].tobytes()
    dot = cv2.imencode(".jpg", picture[:1, :1])[1].tobytes()
    files = {
        "text.jpg": (b"a text file\n", "neither JPEG nor PNG"),
        "cut.jpg": (whole[: len(whole) // 2], "cut off or damaged"),
        "dot.jpg": (dot, "got 1x1 px; allowed: at least"),
        "empty.jpg": (b"", "empty, 0 bytes"),
    }
    out = []
    for name, (data, words) in files.items():
        (folder / name).write_bytes(data)
        out.append((folder / name, words))
    (folder / "folder.jpg").mkdir()
    out.append((folder / "folder.jpg", "is a folder; allowed: a file"))
    out.append((folder / "missing.jpg", "no such file; allowed: a file that exists"))
    return out


def test_bad_stills_are_refused_by_read(capsys, tmp_path, table_file):
    for path, words in bad_stills(tmp_path):
        line = refusal(capsys, "read", path, "--calibration", table_file)
        assert str(path) in line
        assert words in line


def test_bad_stills_are_refused_by_calibrate_and_lens_and_nothing_is_written(capsys, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for path, words in bad_stills(tmp_path):
        line = refusal(capsys, "calibrate", path, "--surface", "9ft", "--out", out / "table.json")
        assert words in line
        assert words in refusal(capsys, "lens", path, "--out", out / "lens.json")
    assert list(out.iterdir()) == []


def test_still_of_another_size_than_the_calibration_is_refused(capsys, tmp_path, table_file):
    path = tmp_path / "large.png"
    cv2.imwrite(str(path), np.full((1080, 1920, 3), 90, np.uint8))
    line = refusal(capsys, "read", path, "--calibration", table_file)
    assert "got 1920x1080 px; allowed: 1280x720 px" in line


def test_calibration_of_an_unknown_version_is_refused(capsys, tmp_path, table_file):
    data = json.loads(table_file.read_text())
    save(table_file, {**data, "version": 99})
    line = refusal(capsys, "map", "1,1", "--calibration", table_file)
    assert "table.json.version: got 99; allowed: 1" in line


def test_a_still_given_as_calibration_is_told_apart(capsys, tmp_path):
    coded = cv2.imencode(".png", np.full((240, 320, 3), 90, np.uint8))[1].tobytes()
    (tmp_path / "table.json").write_bytes(coded)
    line = refusal(capsys, "map", "1,1", "--calibration", tmp_path / "table.json")
    assert "table.json: got a still (PNG); allowed: a restmark-table file." in line
    assert "`restmark calibrate`" in line


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", '{"format": "restmark-lens", "version": 1}'])
def test_calibration_that_is_none_is_refused(capsys, tmp_path, table_file, text):
    table_file.write_text(text)
    assert "table.json" in refusal(capsys, "map", "1,1", "--calibration", table_file)


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"surface_mm": [1, 2]}', "\xff\xfe"])
def test_layout_that_is_none_is_refused(capsys, tmp_path, intent_file, text):
    path = tmp_path / "layout.json"
    path.write_text(text, encoding="latin-1")
    assert "layout.json" in refusal(capsys, "score", path, path, "--intent", intent_file)


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"pot": "99", "next": "1"}', '{"nxt": "1"}'])
def test_intent_that_is_none_is_refused(capsys, tmp_path, text):
    before, after = save(tmp_path / "b.json", BEFORE), save(tmp_path / "a.json", IN)
    intent = tmp_path / "intent.json"
    intent.write_text(text)
    line = refusal(capsys, "score", before, after, "--intent", intent)
    assert "intent.json" in line
    assert "allowed: " in line


def test_lens_refuses_a_pattern_that_cannot_be(capsys, tmp_path, camera):
    still = bare_still(camera, tmp_path / "bare.jpg")
    line = refusal(capsys, "lens", still, "--squares", "7", "--out", tmp_path / "lens.json")
    assert "board.squares: got '7'; allowed: COLUMNSxROWS such as 7x10" in line


def test_calibrate_refuses_a_surface_that_cannot_be(capsys, tmp_path, camera):
    still = bare_still(camera, tmp_path / "bare.jpg")
    line = refusal(
        capsys, "calibrate", still, "--surface", "10ft", "--out", tmp_path / "table.json"
    )
    assert "surface: got '10ft'; allowed: 9ft, pro8, 8ft, 7ft or LENGTHxWIDTH" in line


# -- usage -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["fly"], "No such command 'fly'"),
        (["read", "x.jpg"], "--calibration"),
        (["read", "--calibration", "x.json"], "Missing argument"),
        (["calibrate", "x.jpg", "--surface", "9ft", "--head", "up", "--out", "t"], "'up'"),
        (["bench", "--fast"], "--fast"),
    ],
)
def test_wrong_usage_is_one_line_and_exit_code_2(capsys, arguments, words):
    line = refusal(capsys, *arguments, code=2)
    assert words in line
    assert "--help`" in line


def test_help_of_every_command_prints(capsys):
    for command in (
        "board",
        "lens",
        "calibrate",
        "map",
        "read",
        "score",
        "session",
        "demo",
        "serve",
        "bench",
    ):
        assert run(command, "--help") == 0, command
        assert f"restmark {command}" in capsys.readouterr().out


def test_bare_command_prints_help(capsys):
    assert run() == 2
    assert "Commands:" in capsys.readouterr().out


def test_installed_entry_point_exits_with_the_code(tmp_path):
    script = Path(sys.executable).with_name("restmark")
    done = subprocess.run(
        [script, "read", "missing.jpg", "--calibration", "missing.json"],
        capture_output=True, text=True, cwd=tmp_path, env={**os.environ, "COLUMNS": "60"},
        timeout=60,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("error: missing.json: cannot be read as JSON")
