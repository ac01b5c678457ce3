"""Frames of a video file, in the file's own time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from .frame import Frame, SourceError

VIDEO_SUFFIXES = (".mp4", ".m4v", ".mov", ".avi", ".mkv", ".webm", ".mts")
LEAST_STEP_S = 1 / 15
"""Frames nearer than this are left out undecoded: balls near rest show nothing new sooner."""
_DEFAULT_FPS = 25.0


class VideoFile:
    """A file that OpenCV can open."""

    def __init__(self, path: Path, *, least_step_s: float = LEAST_STEP_S) -> None:
        self.path = path
        self.least_step_s = least_step_s
        self._closed = False

    @property
    def away(self) -> bool:
        """A file stays."""
        return False

    def frames(self) -> Iterator[Frame]:
        """Frames at least ``least_step_s`` apart; times count from the file's start.

        Raises:
            SourceError: no such file, or nothing in it can be shown.
        """
        if not self.path.is_file():
            raise SourceError(f"{self.path}: no such file; allowed: a video file. Check the name.")
        capture = cv2.VideoCapture(str(self.path))
        try:
            yield from self._shown(capture)
        finally:
            capture.release()

    def close(self) -> None:
        """End ``frames`` before its next frame."""
        self._closed = True

    def _shown(self, capture: cv2.VideoCapture) -> Iterator[Frame]:
        step_s = 1 / (capture.get(cv2.CAP_PROP_FPS) or _DEFAULT_FPS)
        count, last_s, due_s = 0, -step_s, 0.0
        while not self._closed and capture.grab():
            told_s = capture.get(cv2.CAP_PROP_POS_MSEC) / 1e3
            # some files tell no time, or the same twice
            last_s = at_s = told_s if told_s > last_s else last_s + step_s
            if at_s + step_s / 2 < due_s:
                continue
            seen, picture = capture.retrieve()
            if not seen:
                continue
            due_s = at_s + self.least_step_s
            count += 1
            yield Frame(
                picture=np.asarray(picture, dtype=np.uint8), at_s=at_s,
                name=f"{self.path.name}@{at_s:.2f}s",
            )  # fmt: skip
        if not count and not self._closed:
            raise SourceError(
                f"{self.path}: no frame can be decoded; allowed: a video file such as "
                f"{', '.join(VIDEO_SUFFIXES)}. Convert the file or record it again."
            )
