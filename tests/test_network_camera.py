"""A real network camera: its pictures come, its going is said, and it is used again by itself."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np
from api_kit import free_port
from network_camera import SIZE_PX, network_camera

from vision.sources.camera import Camera
from vision.sources.frame import Frame

WAIT_S = 60.0


class Watching:
    """What a camera shows and says, gathered in a thread as a watcher would."""

    def __init__(self, address: str) -> None:
        self.frames: list[Frame] = []
        self.said: list[str] = []
        self.camera = Camera(address, tell=self.said.append, step_s=0.05, retry_s=0.2)
        self._thread = threading.Thread(target=self._gather, daemon=True)
        self._thread.start()

    def _gather(self) -> None:
        for frame in self.camera.frames():
            self.frames.append(frame)

    def until(self, holds: Callable[[], bool]) -> None:
        """Wait until something holds."""
        give_up = time.monotonic() + WAIT_S
        while not holds():
            assert time.monotonic() < give_up, (len(self.frames), self.said)
            time.sleep(0.02)

    def close(self) -> None:
        """No more."""
        self.camera.close()
        self._thread.join(WAIT_S)
        assert not self._thread.is_alive()


def test_a_network_camera_is_watched_goes_away_and_comes_back() -> None:
    port = free_port()
    watching = None
    try:
        with network_camera(port):
            watching = Watching(f"http://127.0.0.1:{port}/table.mjpg")
            watching.until(lambda: len(watching.frames) >= 5)
            first = watching.frames[0].picture
            assert first.shape == (SIZE_PX[1], SIZE_PX[0], 3)
            assert np.any(first != watching.frames[-1].picture)
            assert watching.said == []
        watching.until(lambda: watching.camera.away)
        assert watching.camera.why == "no-picture"
        assert "no picture. Check cable and power" in watching.said[0]
        seen = len(watching.frames)
        with network_camera(port):
            watching.until(lambda: len(watching.frames) >= seen + 5)
            assert not watching.camera.away
            assert "there again after" in watching.said[1]
    finally:
        if watching is not None:
            watching.close()
