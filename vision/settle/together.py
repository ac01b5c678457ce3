"""Watches one table by several cameras and hands on every layout in which it comes to rest.

A table is at rest when each of its cameras says so: one that sees nothing change, because what was
played lies beyond its picture, stands by what it saw last.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

from calibration.errors import RestmarkError
from vision.join.errors import JoinError
from vision.join.together import join_views
from vision.join.view import View, check_same_table
from vision.layout import Layout
from vision.read import Reader
from vision.sources.frame import Frame, Tell, untold
from vision.sources.together import SourcesTogether

from .settled import Settled, Watched
from .watcher import Watcher

WAIT_S = 2.0
"""A camera that shows nothing, or cannot be read, is waited for so long."""
OVER = "obstructed"
"""Somebody is before one camera: the player is not done."""


class NothingShownError(RestmarkError):
    """A camera that gave no picture of a moment."""

    code = "no-still"


@dataclass(slots=True, kw_only=True)
class _Camera:
    """One camera and what it saw last."""

    watcher: Watcher
    view: View | None = None
    rest: Settled | None = None
    seen_s: float | None = None
    """Time of its newest frame."""
    sends_stills: bool = False
    """Somebody else waited until all lay still: nothing is known between them."""
    said: tuple[str, str] = ("", "")
    """Why it is not read: words and code."""


class TogetherWatcher:
    """One table under several cameras, by name; ``feed`` it all their frames in order of time.

    ``tell`` takes sentences for the player. Raises ``JoinError`` where the readers' calibrations
    are of different tables.
    """

    def __init__(self, readers: Mapping[str, Reader], *, tell: Tell = untold) -> None:
        check_same_table({name: reader.calibration for name, reader in readers.items()})
        self.tell = tell
        self.layout: Layout | None = None
        """The last that was handed on, joined."""
        self._cameras = {
            name: _Camera(watcher=Watcher(reader, tell=partial(self._say, name)))
            for name, reader in readers.items()
        }
        self._new: set[str] = set()
        """Cameras that saw something change which was not handed on yet."""

    def feed(self, name: str, frame: Frame) -> Settled | None:
        """One more frame of a camera; what came to rest with it."""
        camera = self._cameras[name]
        found = camera.watcher.feed(frame)
        camera.seen_s, camera.sends_stills = frame.at_s, frame.settled
        if found is not None:
            reader = camera.watcher.reader
            corrected = reader.last_calibration
            camera.rest = found
            camera.view = View(name, found.layout, reader.calibration, corrected=corrected)
            self._new.add(name)
        return self.look(frame.at_s)

    def look(self, now_s: float, *, is_end: bool = False) -> Settled | None:
        """What lies at rest by now, by the sources' clock; ``is_end``: no more frames will come."""
        rests = [self._cameras[name].rest for name in self._new]
        began = [rest.at_s for rest in rests if rest is not None]
        if not began:
            return None
        away: dict[str, RestmarkError] = {}
        for name, camera in self._cameras.items():
            if self._stands(name, camera, max(began), is_end=is_end):
                continue
            if not is_end and (self._moves(camera, now_s) or now_s - min(began) < WAIT_S):
                return None
            words, code = camera.said
            away[name] = NothingShownError(
                words
                or f"{name}: shows nothing; allowed: a picture of the same moment. See to "
                "the camera.",
                code=code or NothingShownError.code,
            )
        return self._joined(away, now_s)

    def _stands(self, name: str, camera: _Camera, newest_s: float, *, is_end: bool) -> bool:
        """Whether what it saw last is how the table lies."""
        if camera.view is None:
            return False
        if camera.sends_stills:
            return name in self._new
        looked = camera.seen_s is not None and (is_end or camera.seen_s >= newest_s)
        return looked and camera.watcher.holds

    def _moves(self, camera: _Camera, now_s: float) -> bool:
        """Whether it shows something that is not at rest yet."""
        if camera.seen_s is None or camera.sends_stills or now_s - camera.seen_s > WAIT_S:
            return False
        return camera.said[1] in ("", OVER)

    def _joined(self, away: Mapping[str, RestmarkError], now_s: float) -> Settled | None:
        there = [camera for name, camera in self._cameras.items() if name not in away]
        news = [self._cameras[name].rest for name in self._cameras if name in self._new]
        self._new.clear()
        views = [camera.view for camera in there if camera.view is not None]
        if not views:
            return None
        try:
            layout = join_views(views, away=away, previous=self.layout)
        except JoinError as refused:
            self.tell(refused.detail)
            return None
        first = there[0].rest
        assert first is not None
        self.layout = replace(layout, still=next(r for r in news if r is not None).layout.still)
        return Settled(
            layout=self.layout, picture=first.picture, at_s=now_s,
            watched=_watched([rest for rest in news if rest is not None]),
        )  # fmt: skip

    def _say(self, name: str, words: str) -> None:
        """What one camera says; empty words take it back."""
        camera = self._cameras[name]
        camera.said = (words, camera.watcher.code if words else "")
        if words:
            self.tell(f"Camera {name}: {words}")


def _watched(rests: list[Settled]) -> Watched | None:
    """What frames showed: by a camera that saw the cue ball roll, if one did."""
    told = [rest.watched for rest in rests if rest.watched is not None]
    return next((each for each in told if each.rolled), told[0] if told else None)


def settled_together(
    sources: SourcesTogether, readers: Mapping[str, Reader], *, tell: Tell = untold
) -> Iterator[Settled]:
    """Every joined layout in which a table comes to rest, in order, the first included.

    Raises:
        SourceError: a source cannot be opened.
        StillError: pictures of another size than their calibration's.
    """
    watcher = TogetherWatcher(readers, tell=tell)
    last_s = 0.0
    for shown in sources.frames():
        if shown is None:
            last_s = time.monotonic()
            found = watcher.look(last_s)
        else:
            last_s = shown[1].at_s
            found = watcher.feed(*shown)
        if found is not None:
            yield found
    found = watcher.look(last_s, is_end=True)
    if found is not None:
        yield found
