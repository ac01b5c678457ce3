"""What goes wrong with a camera in the middle of an evening: nothing is scored, and it is said."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from api_kit import Client, assert_problem, running
from simulated_video import Room

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.demo.samples import EMPTY_STILL, sample_folder
from vision.read import Reader
from vision.settle.watcher import Watcher
from vision.sources.camera import Camera
from vision.sources.frame import Frame
from vision.still import TOO_DARK, Picture, StillError, decode_still

SHOT = sample_folder("practice") / "shots" / "shot-01-after.jpg"
FPS = 10
LOST_S, WAIT_S = 0.3, 30.0


@pytest.fixture(scope="module")
def calibration(tmp_path_factory: pytest.TempPathFactory) -> Calibration:
    """Of the sample table, from its empty still: with its marks and the empty bed."""
    path = tmp_path_factory.mktemp("table") / "table.json"
    subprocess.run(
        [sys.executable, "-m", "service", "calibrate", str(sample_folder(EMPTY_STILL)),
         "--surface", "9ft", "--camera-height", "2732", "--out", str(path)],
        check=True, capture_output=True,
    )  # fmt: skip
    return Calibration.read(path)


@pytest.fixture(scope="module")
def picture() -> Picture:
    return decode_still(SHOT.read_bytes())


def darkened(picture: Picture, share: float) -> Picture:
    noise = np.random.default_rng(1).normal(0, 1.5, picture.shape)
    return np.clip(picture * share + noise, 0, 255).astype(np.uint8)


class Hanging:
    """A camera that gives a picture with noise, then the very same for a while, then others."""

    def __init__(self, *lively: int, same_s: float) -> None:
        self.lively = list(lively)
        self.same_s = same_s
        self.left = 0
        self.hangs_until_s: float | None = None
        self.opened = 0
        self._noise = np.random.default_rng(3)
        self._last = np.zeros((90, 160, 3), np.uint8)

    def __call__(self) -> Hanging:
        self.opened += 1
        return self

    def isOpened(self) -> bool:  # noqa: N802
        return True

    def grab(self) -> bool:
        time.sleep(0.002)
        return True

    def retrieve(self) -> tuple[bool, np.ndarray]:
        now = time.monotonic()
        if self.left == 0 and self.lively and self.hangs_until_s is None:
            self.left = self.lively.pop(0)
        if self.left:
            self.left -= 1
            self._last = self._noise.integers(0, 255, (90, 160, 3), np.uint8)
            if not self.left:
                self.hangs_until_s = now + self.same_s
        elif self.hangs_until_s is not None and now > self.hangs_until_s:
            self.hangs_until_s = None
            return self.retrieve() if self.lively else (True, self._last.copy())
        return True, self._last.copy()

    def release(self) -> None:
        pass


# -- frozen --------------------------------------------------------------------------------


def test_a_camera_that_hangs_is_told_opened_anew_and_used_again() -> None:
    plug, told = Hanging(4, 4, same_s=1.0), []
    camera = Camera(
        0, tell=lambda words: told.append((words, camera.why, camera.away)), opened=plug,
        step_s=0.0, retry_s=0.01, frozen_s=LOST_S,
    )  # fmt: skip
    frames: list[Frame] = []
    for frame in camera.frames():
        frames.append(frame)
        if len(told) == 2:
            camera.close()
    assert told[0][0].startswith("camera 0: hangs, it has shown the very same picture")
    assert "unplug it" in told[0][0]
    assert told[0][1:] == ("frozen", True)
    assert told[1][0].startswith("camera 0: there again")
    assert told[1][1:] == ("", False)
    assert plug.opened >= 3  # again and again while it hangs
    # while it was known to hang no frame was handed on
    gap_s = max(b.at_s - a.at_s for a, b in pairwise(frames))
    assert gap_s > 1.0 - LOST_S - 0.2


def test_a_camera_with_noise_never_hangs() -> None:
    plug, told = Hanging(400, same_s=0.0), []
    camera = Camera(0, tell=told.append, opened=plug, step_s=0.0, frozen_s=0.05)
    for number, _ in enumerate(camera.frames()):
        if number == 150:
            camera.close()
    assert told == []


def test_a_hanging_camera_is_lost_to_the_watch_with_a_code(tmp_path: Path) -> None:
    plug, room = Hanging(3, 1000, same_s=2.0), Room.of()

    def opened(_named: str, *, tell, **_more) -> Camera:
        size = room.calibration.camera.image_size_px
        plug._last = np.zeros((size[1], size[0], 3), np.uint8)
        plug._noise = Noise(size)
        return Camera(
            0, tell=tell, opened=plug, step_s=0.05, retry_s=0.05, frozen_s=LOST_S,
        )  # fmt: skip

    with running(tmp_path / "data", read=None, opened=opened) as address, Client(address) as client:
        client.put("/calibration", json=room.calibration.to_dict())
        client.put("/watch", json={"source": "0"})
        lost = wait_for(lambda: client.get("/watch").json(), lambda now: now["code"] == "frozen")
        assert lost["state"] == "lost"
        assert "unplug it" in lost["said"]
        wait_for(lambda: client.get("/watch").json(), lambda now: now["state"] == "watching")
        assert client.get("/health").json()["attempts"] == 0


class Noise:
    """Stands in for the generator: grey pictures of the calibration's size."""

    def __init__(self, size_px: tuple[int, int]) -> None:
        self.size_px = size_px
        self.random = np.random.default_rng(1)

    def integers(self, *_: object) -> np.ndarray:
        width, height = self.size_px
        return self.random.integers(90, 110, (height, width, 3), np.uint8)


def wait_for(ask, is_so):
    give_up = time.monotonic() + WAIT_S
    while True:
        now = ask()
        if is_so(now):
            return now
        assert time.monotonic() < give_up, now
        time.sleep(0.05)


# -- the lamp ------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.08, 0.04, 0.0])
def test_a_picture_without_light_is_refused_with_what_to_do(
    calibration: Calibration, picture: Picture, share: float
) -> None:
    with pytest.raises(
        StillError, match=r"too dark, .* of 255 levels; allowed: 30 or more"
    ) as told:
        Reader(calibration).read_image(darkened(picture, share), name="a.jpg")
    assert told.value.code == TOO_DARK
    assert "Turn the lamp on" in told.value.detail


def test_dim_light_is_no_darkness(calibration: Calibration, picture: Picture) -> None:
    plain = Reader(calibration).read_image(picture)
    dim = Reader(calibration).read_image(darkened(picture, 0.3))
    assert len(dim.balls) == len(plain.balls)


def test_the_lamp_off_in_the_middle_changes_nothing_and_is_said(
    calibration: Calibration, picture: Picture
) -> None:
    told: list[str] = []
    watcher = Watcher(Reader(calibration), tell=told.append)
    handed = []
    for at_s, shown in scenes((1.0, picture), (3.0, darkened(picture, 0.02)), (2.0, picture)):
        rest = watcher.feed(Frame(picture=shown, at_s=at_s, name=f"{at_s:.1f}"))
        handed += [rest] if rest else []
    assert len(handed) == 1  # the same table lies there afterwards
    assert [words[:20] for words in told] == [told[0][:20], ""]
    assert "too dark" in told[0]
    assert watcher.code == ""


def scenes(*parts: tuple[float, Picture]) -> Iterator[tuple[float, Picture]]:
    number = 0
    for lasts_s, shown in parts:
        for _ in range(round(lasts_s * FPS)):
            yield number / FPS, shown
            number += 1


# -- another place, another camera ---------------------------------------------------------


def test_a_camera_hung_upside_down_again_is_refused(
    calibration: Calibration, picture: Picture
) -> None:
    with pytest.raises(RestmarkError, match=r"[Rr]ecalibrate") as told:
        Reader(calibration).read_image(np.ascontiguousarray(picture[::-1, ::-1]))
    assert told.value.code == "moved"


@pytest.mark.parametrize("name", ["other-01.jpg", "other-04.jpg", "other-09.jpg"])
def test_another_camera_in_its_place_is_refused(calibration: Calibration, name: str) -> None:
    data = (sample_folder("others") / name).read_bytes()
    with pytest.raises(RestmarkError, match=r"[Rr]ecalibrate") as told:
        Reader(calibration).read_still(data, name=name)
    assert told.value.code == "moved"


def test_another_camera_of_another_size_is_refused(calibration: Calibration) -> None:
    with pytest.raises(StillError, match=r"allowed: 1920x1080 px, .* or calibrate again"):
        Reader(calibration).read_image(np.full((720, 1280, 3), 90, np.uint8))


def test_the_service_says_so_and_keeps_nothing(
    tmp_path: Path, calibration: Calibration, picture: Picture
) -> None:
    import cv2

    def jpeg(shown: Picture) -> bytes:
        return cv2.imencode(".jpg", shown)[1].tobytes()

    with running(tmp_path / "data", read=None) as address, Client(address) as client:
        client.put("/calibration", json=calibration.to_dict())
        assert client.give(jpeg(picture)).status_code == 201
        dark = client.give(jpeg(darkened(picture, 0.04)))
        assert_problem(dark, 422, "too-dark", text="Turn the lamp on")
        turned = client.give(jpeg(np.ascontiguousarray(picture[::-1, ::-1])))
        assert turned.status_code in (409, 422)
        assert "calibrat" in turned.json()["detail"]
        assert client.get("/health").json()["readings"] == 1
