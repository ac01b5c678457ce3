"""``session`` on a video: every shot is found and scored by itself, its arrival seen."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import pytest
from simulated_video import Play, Room

from service.cli import main
from service.store import Store

SHOTS, SEED, FPS = 3, 3, 10.0
STOP_MM = 1.0
"""Half-size pictures, packed."""


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Play]:
    """A video of three shots, the calibration of its table, and the truth."""
    folder = tmp_path_factory.mktemp("filmed")
    room = Room.of()
    play = Play(room=room, shots=SHOTS, seed=SEED, fps=FPS)
    video, table = folder / "evening.avi", folder / "table.json"
    out = cv2.VideoWriter(str(video), cv2.VideoWriter.fourcc(*"MJPG"), FPS, (960, 540))
    out.set(cv2.VIDEOWRITER_PROP_QUALITY, 95)
    for frame in play.frames():
        out.write(frame.picture)
    out.release()
    room.calibration.write(table)
    return video, table, play


def run(*arguments: object) -> int:
    return main([str(a) for a in arguments])


def test_a_video_is_a_session(
    filmed: tuple[Path, Path, Play], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    video, table, play = filmed
    x, y = play.told[0].after["cue"]
    zones = [{"zone": {"circle_mm": [x, y, 100.0]}}, {"zone": {"circle_mm": [300, 300, 50.0]}}]
    plan = tmp_path / "plan.json"
    plan.write_text(json.dumps({"shots": [*zones, zones[1]]}))
    data = tmp_path / "data"
    assert run("session", video, "--calibration", table, "--plan", plan, "--data", data,
               "--json") == 0  # fmt: skip
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert list(lines[-1]) == ["summary"]
    attempts = lines[:-1]
    assert [line["event"] for line in attempts] == ["shot"] * SHOTS
    assert attempts[0]["verdict"] == "in"
    for line, shot in zip(attempts, play.told, strict=True):
        assert line["cue_stop_mm"] == pytest.approx(shot.after["cue"], abs=STOP_MM)
        assert sorted(line["potted"]) == sorted(set(shot.before) - set(shot.after))
        if shot.straight_mm > 40:
            assert line["arrival"] == "seen"
    assert lines[-1]["summary"]["events"] == {"shot": SHOTS}
    with Store(data).reading() as reader:
        assert len(reader.attempts(limit=10)) == SHOTS


def test_what_is_watched_is_said_as_it_happens(
    filmed: tuple[Path, Path, Play], capsys: pytest.CaptureFixture[str]
) -> None:
    video, table, _ = filmed
    assert run("session", video, "--calibration", table) == 0
    said = capsys.readouterr().out
    assert said.index("attempt 1") < said.index("attempt 2") < said.index("attempt 3")


def test_a_video_needs_a_calibration_and_a_table_at_rest(
    filmed: tuple[Path, Path, Play], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    video, table, _ = filmed
    assert run("session", video) == 1
    assert "Give --calibration" in capsys.readouterr().err.replace("\n", " ")
    short = tmp_path / "short.avi"
    out = cv2.VideoWriter(str(short), cv2.VideoWriter.fourcc(*"MJPG"), FPS, (960, 540))
    for frame, _ in zip(Play(room=Room.of(), shots=0, seed=1).frames(), range(3), strict=False):
        out.write(frame.picture)
    out.release()
    assert run("session", short, "--calibration", table) == 1
    assert "never lay still" in capsys.readouterr().err.replace("\n", " ")
    assert run("session", tmp_path / "gone.mp4", "--calibration", table) == 1
    assert "no such file" in capsys.readouterr().err
