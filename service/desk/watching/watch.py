"""One source watched: a thread that hands every rest on, and goes on whatever becomes of it."""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import cv2

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service import clock
from service.practice import Seen
from service.practice.between.seen import seen_of
from vision.read import Reader
from vision.settle.settled import Settled
from vision.settle.watcher import Watcher
from vision.sources.camera import shown_address
from vision.sources.folder import WatchedFolder
from vision.sources.frame import Frame, Source, Tell
from vision.still import StillError

from .state import LOST, STOPPED, WATCHING, LastStill, WatchState

_LOG = logging.getLogger(__name__)
AGAIN_S = 1.0
"""Between tries where a source cannot be opened, or no calibration holds."""
QUALITY = 95
"""JPEG quality of the stills that are made of frames. The reading is made from the still as it is
kept, so that the same still always gives the same reading."""
ENDS_S = 10.0
"""A watch that is stopped ends within this."""


class Opened(Protocol):
    """Opens a source by its name; ``vision.sources.opening.open_source`` does."""

    def __call__(
        self, named: str, *, size_px: tuple[int, int] | None, tell: Tell, only_new: bool
    ) -> Source:
        """The source; SourceError where the name is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """A still of a table at rest, as a watch hands it on."""

    data: bytes
    name: str
    seen: Seen | None = None
    """What frames before it showed; None for a folder's stills."""


class Watch:
    """Watches one table's source until it is stopped, or the source ends."""

    def __init__(
        self,
        named: str,
        *,
        resumed: bool = False,
        opened: Opened,
        calibration: Callable[[], Calibration | None],
        take: Callable[[Rest], LastStill],
        changed: Callable[[], None],
    ) -> None:
        """``resumed``: it was watched before the service started. ``take`` keeps a still and
        returns when it is kept; it may refuse with RestmarkError. ``changed`` is called, from the
        watch's thread, where the state is another."""
        self._named = named
        self._opened = opened
        self._calibration = calibration
        self._take = take
        self._changed = changed
        self._state = WatchState(
            source=shown_address(named), state=WATCHING, since=clock.now(), resumed=resumed
        )
        self._stop = threading.Event()
        self._renew = threading.Event()
        self._wake = threading.Event()
        self._source: Source | None = None
        self._last: Rest | None = None
        self._held_at_s = -math.inf
        self._thread = threading.Thread(target=self._run, name="restmark-watch", daemon=True)

    @property
    def state(self) -> WatchState:
        """The watch as it stands; any thread may ask."""
        return self._state

    @property
    def is_on(self) -> bool:
        """It has neither been stopped nor come to its end."""
        return self._thread.is_alive() and not self._stop.is_set()

    def unchanged_since(self, moment_s: float) -> Rest | None:
        """The rest handed on last, where a frame taken after that moment shows it still to hold;
        ``time.monotonic``. None where it does not, or nobody can tell."""
        return self._last if self.is_on and self._held_at_s > moment_s else None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; returns when nothing more is handed on."""
        was_on = self.is_on
        self._stop.set()
        self._wake.set()
        source = self._source
        if source is not None:
            source.close()
        if self._thread is not threading.current_thread() and self._thread.is_alive():
            self._thread.join(ENDS_S)
        if was_on:
            self._now(STOPPED, "")

    def renew(self) -> None:
        """Another calibration holds: the table is looked at anew."""
        self._renew.set()
        self._wake.set()

    # -- the thread ------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.is_set():
            calibration = self._calibration()
            if calibration is None:
                self._now(WATCHING, "No calibration is set yet: nothing can be read.")
            else:
                try:
                    if self._watch(calibration):
                        self._now(STOPPED, "The source has come to its end.")
                        return
                except (RestmarkError, OSError, cv2.error) as wrong:
                    self._now(LOST, str(wrong), getattr(wrong, "code", ""))
                except Exception:
                    if self._stop.is_set():
                        return
                    # a fault of the program must not end an evening unseen
                    _LOG.exception("watching %s failed", self._state.source)
                    self._now(LOST, "Watching failed; the service's log tells more. It goes on.")
            # what is said of a calibration is news at once: stills from then on are taken
            self._wake.wait(AGAIN_S)
            self._wake.clear()

    def _watch(self, calibration: Calibration) -> bool:
        """Until the source ends, True; or until it has to be opened again."""
        size_px = calibration.camera.image_size_px
        # a folder remembers what it has given
        source = self._source or self._opened(
            self._named, size_px=size_px, tell=self._tell, only_new=True
        )
        self._source = source
        watcher: Watcher | None = None
        try:
            self._now(WATCHING, "")
            for frame in source.frames():
                if self._stop.is_set():
                    break
                if self._state.state != WATCHING:
                    self._now(WATCHING, "")
                if frame.data:
                    self._hand_on(Rest(data=frame.data, name=frame.name))
                    continue
                if watcher is None or self._renew.is_set():
                    self._renew.clear()
                    held = self._calibration()
                    if held is None or held.camera.image_size_px != size_px:
                        return False
                    watcher = self._watcher_of(held)
                    self._last = None
                self._feed(watcher, frame)
        finally:
            self._last, self._held_at_s = None, -math.inf
            if not isinstance(source, WatchedFolder):
                source.close()
                self._source = None
        return True

    def _watcher_of(self, calibration: Calibration) -> Watcher:
        def say(words: str) -> None:
            self._say(words, watcher.code)

        watcher = Watcher(Reader(calibration), tell=say)
        return watcher

    def _feed(self, watcher: Watcher, frame: Frame) -> None:
        seen_at_s = time.monotonic()
        try:
            rest = watcher.feed(frame)
        except StillError:
            raise
        except RestmarkError as refused:
            self._held_at_s = -math.inf
            self._say(refused.detail, refused.code)
            return
        if rest is not None:
            self._last = _packed(rest)
        self._held_at_s = seen_at_s if watcher.holds else -math.inf
        if rest is not None and self._last is not None:
            self._hand_on(self._last)

    def _hand_on(self, rest: Rest) -> None:
        try:
            last = self._take(rest)
        except RestmarkError as refused:
            self._say(refused.detail, refused.code)
            return
        self._state = replace(self._state, last_still=last, said="", code="")
        self._changed()

    # -- what it says ----------------------------------------------------------------------

    def _tell(self, words: str) -> None:
        """A source's own words come with its going and coming."""
        source = self._source
        away = source is not None and source.away
        self._now(LOST if away else WATCHING, words, getattr(source, "why", ""))

    def _say(self, words: str, code: str = "") -> None:
        self._now(self._state.state, words, code)

    def _now(self, state: str, words: str, code: str = "") -> None:
        was = self._state
        if (was.state, was.said) == (state, words):
            return
        since = was.since if was.state == state else clock.now()
        self._state = replace(was, state=state, said=words, code=code, since=since)
        self._changed()


def _packed(rest: Settled) -> Rest:
    data = cv2.imencode(".jpg", rest.picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1]
    seen = None if rest.watched is None else seen_of(rest.watched)
    return Rest(data=bytes(data.tobytes()), name=f"{rest.layout.still}.jpg", seen=seen)
