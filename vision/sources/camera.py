"""Frames of a USB or network camera, for as long as anybody wants them.

A camera that goes away is waited for: cables are kicked, routers start again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, Protocol

import cv2
import numpy as np

from vision.still import Picture

from .frame import Frame, Tell, untold

STEP_S = 0.1
"""Between frames: ten a second show the last seconds of a rolling ball well enough."""
RETRY_S = 1.0
"""Between attempts to open a camera that is away."""
FROZEN_S = 20.0
"""The very same picture for so long comes from no camera that works: each has noise."""
NO_PICTURE_S = 5.0
"""A network camera that sends nothing for so long is opened anew."""


_AWAY = {
    "no-picture": "no picture. Check cable and power; it is used again by itself as soon as it is "
    "there.",
    "frozen": "hangs, it has shown the very same picture for long. It is opened anew; if that does "
    "not help, unplug it for a moment. Nothing was scored meanwhile.",
}


class Capture(Protocol):
    """What is used of ``cv2.VideoCapture``."""

    def isOpened(self) -> bool:  # noqa: N802
        """Whether there is a camera."""

    def grab(self) -> bool:
        """Take the next frame, undecoded."""

    def retrieve(self) -> tuple[bool, Any]:
        """Decode the frame taken last."""

    def release(self) -> None:
        """Give the camera back."""


class Camera:
    """A camera by its number or address."""

    def __init__(
        self,
        address: int | str,
        *,
        size_px: tuple[int, int] | None = None,
        tell: Tell = untold,
        step_s: float = STEP_S,
        retry_s: float = RETRY_S,
        frozen_s: float = FROZEN_S,
        opened: Callable[[], Capture] | None = None,
    ) -> None:
        """``size_px`` is asked of a USB camera: give the calibration's."""
        self.name = f"camera {address}" if isinstance(address, int) else shown_address(address)
        self.tell = tell
        self.step_s = step_s
        self.retry_s = retry_s
        self.frozen_s = frozen_s
        self._opened = opened or (lambda: _open(address, size_px))
        self._closed = threading.Event()
        self._away = False
        self._same: Picture | None = None
        self._same_since_s = 0.0
        self.why = ""
        """Code of why it is away: ``no-picture`` or ``frozen``."""

    @property
    def away(self) -> bool:
        """Whether it gives no picture; it is tried again and again."""
        return self._away

    def frames(self) -> Iterator[Frame]:
        """Frames about ``step_s`` apart; waits, with words, while the camera is away."""
        away_since: float | None = None
        while not self._closed.is_set():
            capture = self._opened()
            try:
                for frame in self._shown(capture):
                    if away_since is not None:
                        away_s = time.monotonic() - away_since
                        away_since, self._away, self.why = None, False, ""
                        self.tell(f"{self.name}: there again after {away_s:.0f} s.")
                    yield frame
            finally:
                capture.release()
            if away_since is None and not self._closed.is_set():
                away_since, self._away = time.monotonic(), True
                self.why = self.why or "no-picture"
                self.tell(f"{self.name}: {_AWAY[self.why]}")
            self._closed.wait(self.retry_s)

    def close(self) -> None:
        """End ``frames`` soon."""
        self._closed.set()

    def _shown(self, capture: Capture) -> Iterator[Frame]:
        """Frames until the camera fails; what lies between is taken but not decoded."""
        due_s = 0.0
        while not self._closed.is_set() and capture.isOpened() and capture.grab():
            at_s = time.monotonic()
            if at_s < due_s:
                continue
            seen, picture = capture.retrieve()
            if not seen:
                return
            picture = np.asarray(picture, dtype=np.uint8)
            if self._is_frozen(picture, at_s):
                if at_s - self._same_since_s > self.frozen_s:
                    self.why, self._same_since_s = "frozen", at_s
                    return
                if self.why == "frozen":  # opened anew, and still the same
                    continue
            # counted from when it was due, so that the camera's own rhythm does not add up
            due_s = max(due_s + self.step_s, at_s + self.step_s / 2)
            yield Frame(
                picture=picture, at_s=at_s,
                name=f"{self.name}@{at_s:.2f}s",
            )  # fmt: skip

    def _is_frozen(self, picture: Picture, at_s: float) -> bool:
        """Whether it is the picture before, bit for bit."""
        was, self._same = self._same, picture
        # a few lines tell most pictures apart
        if (
            was is not None
            and np.array_equal(was[::97], picture[::97])
            and np.array_equal(was, picture)
        ):
            return True
        self._same_since_s = at_s
        return False


def _open(address: int | str, size_px: tuple[int, int] | None) -> Capture:
    if isinstance(address, str):
        wait_ms = int(NO_PICTURE_S * 1e3)
        return cv2.VideoCapture(
            address,
            cv2.CAP_FFMPEG,
            [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, wait_ms, cv2.CAP_PROP_READ_TIMEOUT_MSEC, wait_ms],
        )
    capture = cv2.VideoCapture(address)
    if size_px is not None and capture.isOpened():
        # at full size most USB cameras keep their rate only with compressed pictures
        capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, size_px[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size_px[1])
    return capture


def shown_address(named: str) -> str:
    """A source's name as it may be shown: without name and password where it is an address."""
    if "://" not in named:
        return named
    kind, _, rest = named.partition("://")
    return f"{kind}://{rest.rpartition('@')[2]}"
