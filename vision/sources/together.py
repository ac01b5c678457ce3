"""Frames of several sources that look at one table, each with its camera's name, in their order.

Videos are shown side by side by their own clocks: they are taken to begin at one moment. Cameras
and folders show as things happen.
"""

from __future__ import annotations

import heapq
import queue
import threading
from collections.abc import Iterator, Mapping

from calibration.errors import RestmarkError

from .frame import Frame, Source, SourceError
from .video import VideoFile

TICK_S = 0.5
"""When nobody sends for so long, that is told too."""
Shown = tuple[str, Frame]


class SourcesTogether:
    """Several sources, by camera."""

    def __init__(self, sources: Mapping[str, Source]) -> None:
        """Raises ``SourceError`` (code ``mixed-sources``) for videos beside sources that go on."""
        videos = [name for name, source in sources.items() if isinstance(source, VideoFile)]
        if videos and len(videos) < len(sources):
            raise SourceError(
                f"{', '.join(videos)}: got a video beside a camera or folder; allowed: videos that "
                "begin at one moment, or cameras and folders. Give sources of one kind.",
                code="mixed-sources",
            )
        self.sources = sources
        self.are_videos = bool(videos)
        self._closed = threading.Event()
        self._shown: queue.Queue[Shown | RestmarkError | None] = queue.Queue(maxsize=len(sources))

    def frames(self) -> Iterator[Shown | None]:
        """A camera's name and its frame; None where nobody sent for ``TICK_S``.

        Raises:
            SourceError: one of them cannot be opened.
        """
        if self.are_videos:
            yield from heapq.merge(
                *(_named(name, source) for name, source in self.sources.items()),
                key=lambda shown: shown[1].at_s,
            )
            return
        threads = [
            threading.Thread(target=self._run, args=(name, source), daemon=True)
            for name, source in self.sources.items()
        ]
        for thread in threads:
            thread.start()
        left = len(threads)
        try:
            while left and not self._closed.is_set():
                try:
                    shown = self._shown.get(timeout=TICK_S)
                except queue.Empty:
                    yield None
                    continue
                if isinstance(shown, RestmarkError):
                    raise shown
                left -= shown is None
                if shown is not None:
                    yield shown
        finally:
            self.close()

    def close(self) -> None:
        """End ``frames`` soon, from any thread."""
        self._closed.set()
        for source in self.sources.values():
            source.close()

    def _run(self, name: str, source: Source) -> None:
        try:
            for frame in source.frames():
                if not self._put((name, frame)):
                    return
        except RestmarkError as wrong:
            self._put(wrong)
            return
        self._put(None)

    def _put(self, shown: Shown | RestmarkError | None) -> bool:
        """Whether it was taken; nobody waits for what is closed."""
        while not self._closed.is_set():
            try:
                self._shown.put(shown, timeout=TICK_S)
            except queue.Full:
                continue
            return True
        return False


def _named(name: str, source: Source) -> Iterator[Shown]:
    for frame in source.frames():
        yield name, frame
