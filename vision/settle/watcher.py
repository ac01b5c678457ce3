"""Watches a table frame by frame and hands on every layout in which it comes to rest."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from calibration.errors import RestmarkError
from calibration.table import PointMm
from vision.layout import Layout
from vision.read import Reader
from vision.sources.frame import Frame, Source, Tell, untold
from vision.still import TOO_DARK, Picture, StillError, check_light, check_size

from .arrival import Track, arrival_of, moving_part
from .choosing import best_picture
from .differing import lies_differently
from .following import follow, white_of
from .memory import Memory
from .settled import Settled, Watched
from .stillness import Cells, Stillness, enough

STILL_S = 0.5
"""Nothing may move for so long: a ball rolls its last 12 mm in that time."""
CHOSEN_S = 0.3
"""Pictures of the last part of it are read: the very last millimetre is rolled by then."""
FEWEST, MOST_KEPT = 3, 10
"""Frames that must show it, and that are kept of a long rest."""
GAP_S = 2.0
"""After a longer gap between frames nothing is known of what was before."""
AGAIN_S = 1.0
"""A still table that could not be read is tried again so much later."""
SAY_S = 4.0
"""What keeps a still table from being read is told after so long."""
ROLLED_MM, ROLLED_FRAMES = 40.0, 4
"""A way this long, seen in so many frames, is a ball that rolls by itself."""


class Watcher:
    """One table under one camera; its reader's stills are a sequence.

    ``feed`` it every frame in order. ``tell`` takes sentences for the player: why a table that
    lies still is not read; an empty one once that holds no more. ``code`` is of the last.
    """

    def __init__(self, reader: Reader, *, tell: Tell = untold) -> None:
        self.reader = reader
        self.tell = tell
        self.code = ""
        self.layout: Layout | None = None
        """The last that was handed on."""
        self.holds = False
        """Whether the newest frame shows a clear table at rest that lies as ``layout`` says."""
        self._stillness = Stillness.of(reader.view, reader.calibration.table)
        self._memory = Memory()
        self._still: list[tuple[float, Cells]] = []
        """Frames in which nothing has moved since the first of them."""
        self._rest: Cells | None = None
        self._last_s: float | None = None
        self._cells: Cells | None = None
        self._differs = False
        self._began_s: float | None = None
        self._person = False
        self._tried_s = -np.inf
        self._told_of = -np.inf

    def feed(self, frame: Frame) -> Settled | None:
        """One more frame; what came to rest with it.

        Raises:
            StillError: the frame has another size than the calibration's pictures.
        """
        check_size(frame.picture, self.reader.calibration.camera.image_size_px, name=frame.name)
        self.holds = False
        if frame.settled:
            return self._handed(frame, frame.picture)
        view = self.reader.view.warp(frame.picture)
        if self._is_dark(frame, view):
            return None
        self._see(frame, view)
        if not self._is_still(frame.at_s):
            return None
        if self._as_before():
            self._memory.at_rest(CHOSEN_S)
            self._began_s, self._person = None, False
            self._unsay()
            self.holds = True
            return None
        if frame.at_s - self._tried_s < AGAIN_S and self._tried_s >= self._still_from_s:
            return None
        self._tried_s = frame.at_s
        picture = best_picture(self._memory.since(frame.at_s - CHOSEN_S))
        return self._handed(frame, picture)

    # -- frame by frame --------------------------------------------------------------------

    def _is_dark(self, frame: Frame, view: Picture) -> bool:
        """Whether the lamp is off: nothing is known then, and nothing forgotten."""
        try:
            check_light(view, name=frame.name)
        except StillError as dark:
            self._still = []
            if self.code != dark.code:
                self.code = dark.code
                self.tell(dark.detail)
            return True
        if self.code == TOO_DARK:
            self._unsay()
        return False

    def _see(self, frame: Frame, view: Picture) -> None:
        cells = self._stillness.cells(view)
        if self._last_s is not None and not 0 < frame.at_s - self._last_s < GAP_S:
            self._still = []
            self._memory.seen.clear()
        self._last_s = frame.at_s
        self._memory.add(frame.at_s, frame.picture, white_of(view))
        self._still = [*self._still_with(cells), (frame.at_s, cells)]
        if len(self._still) > MOST_KEPT:
            del self._still[1]
        if self._rest is not None:
            self._compare_with_rest(cells, frame.at_s)
        self._cells = cells

    def _still_with(self, cells: Cells) -> list[tuple[float, Cells]]:
        """The frames before in which all lay as it does now.

        A ball's last half millimetre may tell only after some frames; those after it count.
        """
        if not self._still or not self._stillness.any_moved(self._still[0][1], cells):
            return self._still
        first = len(self._still)
        while first > 1 and not self._stillness.any_moved(self._still[first - 1][1], cells):
            first -= 1
        return self._still[first:]

    @property
    def _still_from_s(self) -> float:
        return self._still[0][0] if self._still else np.inf

    def _compare_with_rest(self, cells: Cells, at_s: float) -> None:
        assert self._rest is not None
        moved = self._stillness.moved(self._rest, cells)
        self._differs = enough(moved)
        if self._differs and self._began_s is None:
            self._began_s = at_s
        self._person = self._person or self._stillness.person(moved)

    def _is_still(self, at_s: float) -> bool:
        return len(self._still) >= FEWEST and at_s - self._still_from_s >= STILL_S - 1e-3

    def _as_before(self) -> bool:
        """Whether the table lies as it was handed on last; slow light is followed then."""
        if self._rest is None or self._differs:
            return False
        self._rest = self._cells
        return True

    # -- at rest ---------------------------------------------------------------------------

    def _handed(self, frame: Frame, picture: Picture) -> Settled | None:
        try:
            layout = self.reader.read_image(picture, name=frame.name, previous=self.layout)
        except RestmarkError as refused:
            self._say(frame, refused.detail, refused.code, at_once=True)
            return None
        if layout.obstructed:
            self._say(frame, f"{frame.name}: {layout.warnings[-1]}", "obstructed")
            return None
        self.code = ""
        self.holds = True
        before, self.layout = self.layout, layout
        watched = None
        if not frame.settled:
            watched = self._watched(before, layout)
            self._rest, self._began_s, self._person = self._cells, None, False
            self._memory.at_rest(CHOSEN_S)
        if before is not None and not frame.settled and not lies_differently(before, layout):
            return None
        return Settled(layout=layout, picture=picture, at_s=frame.at_s, watched=watched)

    def _say(self, frame: Frame, words: str, code: str, *, at_once: bool = False) -> None:
        """Told once a rest; who bends over the table is told only after a while."""
        rest = self._still_from_s
        due = at_once or frame.at_s - rest >= SAY_S
        if frame.settled or (due and rest != self._told_of):
            self._told_of = rest
            self.code = code
            self.tell(words)

    def _unsay(self) -> None:
        """What was told holds no more."""
        if self.code:
            self.code = ""
            self.tell("")

    def _watched(self, before: Layout | None, after: Layout) -> Watched | None:
        if before is None or self._began_s is None:
            return None
        track = self._track(before, after)
        arrival = None if track is None else arrival_of(np.array(track.places_mm))
        rolled = None
        if track is not None:
            far = track.length_mm >= ROLLED_MM and len(track.places_mm) >= ROLLED_FRAMES
            rolled = True if far else None
        return Watched(
            began_s=self._began_s, rest_s=self._still_from_s, person=self._person,
            rolled=rolled, track=track, arrival=arrival,
        )  # fmt: skip

    def _track(self, before: Layout, after: Layout) -> Track | None:
        cue, was = after.ball("cue"), before.ball("cue")
        if cue is None or len(self._memory.seen) < 2:
            return None
        start = None if was is None else was.centre_mm
        places, times = follow(
            list(self._memory.seen), cue.centre_mm, self.reader.view,
            start_mm=start, resting_mm=_resting(before, after),
        )  # fmt: skip
        places, times = moving_part(places, times, cue.centre_mm)
        if len(places) < 2:
            return None
        near_start = start is not None and bool(np.hypot(*(places[0] - start)) < _AT_START_MM)
        return Track(
            places_mm=tuple((float(x), float(y)) for x, y in places),
            times_s=tuple(float(t) for t in times),
            from_start=near_start,
        )


_AT_START_MM = 30.0
_SAME_MM = 3.0


def _resting(before: Layout, after: Layout) -> list[PointMm]:
    """Places where a ball other than the cue ball lies before and after."""
    was = [ball.centre_mm for ball in before.balls if ball.id != "cue"]
    now = [ball.centre_mm for ball in after.balls if ball.id != "cue"]
    return [a for a in was if any(np.hypot(a[0] - b[0], a[1] - b[1]) < _SAME_MM for b in now)]


def settled_layouts(source: Source, reader: Reader, *, tell: Tell = untold) -> Iterator[Settled]:
    """Every layout in which a source's table comes to rest, in order, the first included.

    Raises:
        SourceError: the source cannot be opened.
        StillError: its pictures have another size than the calibration's.
    """
    watcher = Watcher(reader, tell=tell)
    for frame in source.frames():
        found = watcher.feed(frame)
        if found is not None:
            yield found
