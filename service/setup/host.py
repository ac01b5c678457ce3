"""The host's own sources: one picture of a camera, or the newest still of a folder."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

from vision.sources.camera import Camera
from vision.sources.folder import STILL_SUFFIXES
from vision.sources.frame import Frame, Source, SourceError
from vision.sources.opening import check_address, open_source

from .stills import SetupStill

PATIENCE_S = 8.0
"""A camera that sends nothing for so long is not there."""
IDLE_S = 5.0
"""A camera that nobody asked for so long is given back."""


class HostCamera:
    """A camera of this machine or its network, held open while somebody looks through it.

    Opening a camera takes seconds; a live picture asks twice a second.
    """

    def __init__(self, named: str, opened: Callable[[str], Source] = open_source) -> None:
        self.named = named
        self._source = opened(named)
        self._fresh = threading.Condition()
        self._frame: tuple[float, Frame] | None = None
        self._asked_s = time.monotonic()
        self._ended: str | None = None
        threading.Thread(target=self._look, name="restmark-setup-camera", daemon=True).start()

    @property
    def has_ended(self) -> bool:
        """Whether another one must be opened."""
        with self._fresh:
            return self._ended is not None

    def frame(self) -> Frame:
        """A picture taken after the call.

        Raises:
            SourceError: none came; the camera is given back then.
        """
        asked_s = time.monotonic()
        with self._fresh:
            self._asked_s = asked_s
            came = self._fresh.wait_for(
                lambda: self._ended is not None or self._taken_since(asked_s), timeout=PATIENCE_S
            )
            if came and self._frame is not None and self._taken_since(asked_s):
                return self._frame[1]
            ended = self._ended
        self._source.close()
        raise no_picture(self.named, ended)

    def close(self) -> None:
        """Give the camera back."""
        self._source.close()

    def _taken_since(self, asked_s: float) -> bool:
        return self._frame is not None and self._frame[0] > asked_s

    def _look(self) -> None:
        said = ""
        try:
            for frame in self._source.frames():
                with self._fresh:
                    self._frame = (time.monotonic(), frame)
                    self._fresh.notify_all()
                    idle = time.monotonic() - self._asked_s > IDLE_S
                if idle:
                    break
        except Exception as wrong:  # a driver raises what it likes; whoever waits is told
            said = str(wrong)
        finally:
            self._source.close()
            with self._fresh:
                self._ended = said
                self._fresh.notify_all()


class HostSources:
    """Pictures of whatever source is named; one camera at a time is held."""

    def __init__(self, opened: Callable[[str], Source] = open_source) -> None:
        self._opened = opened
        self._lock = threading.Lock()
        self._camera: HostCamera | None = None

    def still(self, named: str) -> SetupStill:
        """A picture of it, now.

        Raises:
            SourceError: there is no such source, or it has no picture.
            StillError: the folder's newest still cannot be read.
        """
        path = Path(named)
        if path.is_dir():
            return _newest(path)
        frame = self._held(named).frame()
        return SetupStill.of_picture(frame.picture, name=frame.name)

    def close(self) -> None:
        """Give the camera back."""
        with self._lock:
            if self._camera is not None:
                self._camera.close()
                self._camera = None

    def _held(self, named: str) -> HostCamera:
        with self._lock:
            held = self._camera
            if held is not None and held.named == named and not held.has_ended:
                return held
            if held is not None:
                held.close()
            if not is_camera(named):
                raise SourceError(
                    f"{named[:200]}: is no source of pictures; allowed: a camera's number (0 is "
                    "the first), a network camera's address (rtsp://…) or a folder in which stills "
                    "arrive. Check the name."
                )
            if "://" in named:
                check_address(named)
            self._camera = HostCamera(named, self._opened)
            return self._camera


def is_camera(named: str) -> bool:
    """Whether the name means a camera: a number or an address."""
    return named.isdecimal() or "://" in named


def no_picture(named: str, why: str | None) -> SourceError:
    """What is said where a source has no picture."""
    said = f" ({why})" if why else ""
    shown = named if named.isdecimal() else Camera(named).name
    return SourceError(
        f"source {shown}: no picture came{said}; allowed: a camera that is switched on and that no "
        "other program uses. Check cable, power and address, and try again."
    )


def _newest(folder: Path) -> SetupStill:
    try:
        stills = [
            path for path in folder.iterdir() if path.suffix.lower() in (*STILL_SUFFIXES, ".webp")
        ]
        newest = max(stills, key=lambda path: path.stat().st_mtime_ns, default=None)
        if newest is not None:
            return SetupStill.of(newest.read_bytes(), name=newest.name)
    except OSError as wrong:
        raise SourceError(
            f"{folder}: cannot be read ({wrong.strerror}); allowed: a folder that may be read. "
            "Check its permissions."
        ) from None
    raise SourceError(
        f"{folder}: holds no still yet; allowed: a folder in which stills arrive "
        f"({', '.join(STILL_SUFFIXES)}). Have the camera take one."
    )
