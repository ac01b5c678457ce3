"""Two cameras that see half of a table each, watched as one: videos, live, folders that fill."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from paired_kit import calibrations, still
from simulated_video import Play, Room

from calibration.from_still import watched
from calibration.kept.calibration import Calibration
from service.cli import main
from vision.read import Reader
from vision.settle.together import TogetherWatcher, settled_together
from vision.sources.folder import WatchedFolder
from vision.sources.frame import Frame, SourceError
from vision.sources.together import SourcesTogether
from vision.sources.video import VideoFile

SHOTS, SEED, FPS = 2, 3, 10.0
STOP_MM = 1.5
"""Half-size pictures, packed, each ball seen by one camera where the halves do not overlap."""
HALVES = {"head": (0, 560), "foot": (400, 960)}
"""Columns of the whole picture that each camera shows."""


@dataclass(frozen=True)
class Filmed:
    videos: dict[str, Path]
    tables: dict[str, Path]
    play: Play


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    """Videos of two shots, each of one half of the table, with each camera's calibration."""
    folder = tmp_path_factory.mktemp("halves")
    play = Play(room=Room.of(), shots=SHOTS, seed=SEED, fps=FPS)
    videos = {name: folder / f"{name}.avi" for name in HALVES}
    packed = {}
    for name, (low, high) in HALVES.items():
        codec = cv2.VideoWriter.fourcc(*"MJPG")
        packed[name] = cv2.VideoWriter(str(videos[name]), codec, FPS, (high - low, 540))
        packed[name].set(cv2.VIDEOWRITER_PROP_QUALITY, 95)
    for frame in play.frames():
        for name, (low, high) in HALVES.items():
            packed[name].write(np.ascontiguousarray(frame.picture[:, low:high]))
    tables = {}
    for name, each in packed.items():
        each.release()
        tables[name] = folder / f"{name}.json"
        half(play.room, name).write(tables[name])
    return Filmed(videos, tables, play)


def half(room: Room, name: str) -> Calibration:
    """The calibration of a camera that shows those columns alone."""
    low, high = HALVES[name]
    camera = replace(
        room.camera, image_size_px=(high - low, 540), cx_px=room.camera.cx_px - low
    )  # fmt: skip
    empty = np.ascontiguousarray(room.empty[:, low:high]).astype(np.uint8)
    return watched(Calibration.exact(camera, room.table, head=room.calibration.head), empty)


def groups(filmed: Filmed) -> list[object]:
    out: list[object] = []
    for name in HALVES:
        out += ["--calibration", filmed.tables[name], filmed.videos[name]]
    return out


def run(*arguments: object) -> int:
    return main([str(each) for each in arguments])


def test_two_halves_of_a_table_are_one_session(filmed, tmp_path, capsys) -> None:
    assert run("session", *groups(filmed), "--data", tmp_path / "data", "--json") == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    attempts = lines[:-1]
    assert [line["event"] for line in attempts] == ["shot"] * SHOTS
    for line, shot in zip(attempts, filmed.play.told, strict=True):
        assert line["cue_stop_mm"] == pytest.approx(shot.after["cue"], abs=STOP_MM)
        assert sorted(line["potted"]) == sorted(set(shot.before) - set(shot.after))
        assert not any("camera-away" in note for note in line["warnings"])


def test_a_camera_that_sees_nothing_change_stands_by_what_it_saw() -> None:
    room = Room.of()
    readers = {name: Reader(half(room, name)) for name in HALVES}
    watcher = TogetherWatcher(readers)
    before = {"cue": (400.0, 500.0), "3": (300.0, 900.0), "9": (2100.0, 400.0)}
    after = before | {"9": (2200.0, 800.0)}
    found = list(shown(room, watcher, [before, after]))
    # balls that were cut out of pictures are no test of names
    places = [sorted(ball.centre_mm for ball in layout.balls) for layout in found]
    for seen, balls in zip(places, (before, after), strict=True):
        assert np.array(seen) == pytest.approx(np.array(sorted(balls.values())), abs=STOP_MM)
    assert {part.state for part in found[1].cameras} <= {"agrees", "alone"}
    assert found[1].hidden_mm == ()


def shown(room: Room, watcher: TogetherWatcher, layouts) -> Iterator:
    """What comes to rest of layouts that lie for a second each."""
    at_s = 0.0
    for balls in layouts:
        picture = room.empty.copy()
        room.lay(picture, balls)
        whole = np.clip(picture, 0, 255).astype(np.uint8)
        for _ in range(14):
            at_s += 0.1
            for name, (low, high) in HALVES.items():
                cut = np.ascontiguousarray(whole[:, low:high])
                rest = watcher.feed(name, Frame(picture=cut, at_s=at_s, name=f"{name}@{at_s:.1f}"))
                if rest is not None:
                    yield rest.layout


# -- sources ---------------------------------------------------------------------------------


class Told:
    """A source that gives what it is told to, then waits until it is closed."""

    away = False

    def __init__(self, *frames: Frame) -> None:
        self._frames, self._closed = frames, threading.Event()

    def frames(self) -> Iterator[Frame]:
        yield from self._frames
        self._closed.wait()

    def close(self) -> None:
        self._closed.set()


def frame(at_s: float) -> Frame:
    return Frame(picture=np.zeros((2, 2, 3), np.uint8), at_s=at_s)


def test_sources_that_go_on_are_shown_as_they_come_and_end_together() -> None:
    sources = SourcesTogether({"a": Told(frame(1.0), frame(2.0)), "b": Told(frame(1.5))})
    seen = []
    for each in sources.frames():
        if each is None:
            sources.close()
        else:
            seen.append((each[0], each[1].at_s))
    assert sorted(seen) == [("a", 1.0), ("a", 2.0), ("b", 1.5)]


def test_a_source_that_cannot_be_opened_ends_them_all(tmp_path) -> None:
    sources = SourcesTogether(
        {"a": VideoFile(tmp_path / "none.mp4"), "b": VideoFile(tmp_path / "none.mp4")}
    )
    with pytest.raises(SourceError, match="no such file"):
        list(sources.frames())
    with pytest.raises(SourceError, match="allowed: videos that begin at one moment") as mixed:
        SourcesTogether({"a": VideoFile(tmp_path / "none.mp4"), "b": Told()})
    assert mixed.value.code == "mixed-sources"


def test_folders_that_fill_are_one_moment_once_each_has_its_still(tmp_path) -> None:
    folders = {name: tmp_path / name for name in calibrations()}
    for name, folder in folders.items():
        folder.mkdir()
        shutil.copy(still("3", name), folder / "1.jpg")
    sources = SourcesTogether({name: WatchedFolder(path) for name, path in folders.items()})
    readers = {name: Reader(made) for name, made in calibrations().items()}
    rests = settled_together(sources, readers)
    layout = next(rests).layout
    rests.close()
    assert [part.state for part in layout.cameras] == ["agrees", "agrees"]
    assert layout.hidden_mm == ()
