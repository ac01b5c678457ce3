"""A session that is watched, live or in a video: every rest is scored at once."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Protocol

import cv2

from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from service import clock
from service.position.meant.player import Player
from vision.name.taught import Taught
from vision.read import Reader
from vision.settle.settled import Settled
from vision.settle.together import settled_together
from vision.settle.watcher import settled_layouts
from vision.sources.frame import Tell
from vision.sources.opening import open_source
from vision.sources.together import SourcesTogether
from vision.sources.video import VIDEO_SUFFIXES

from .attempt import Attempt, Transition
from .between.seen import Seen, seen_of
from .pairing import Reading
from .plan import Plan
from .sequence import SequenceScorer

_KEPT_QUALITY = 95
"""Of the stills that are kept, JPEG."""


@dataclass(slots=True, kw_only=True)
class WatchedSession:
    """What a video or camera gave, rest by rest."""

    readings: list[tuple[str, Reading]] = field(default_factory=list)
    seen: dict[str, Seen] = field(default_factory=dict)
    """What frames showed before the still of that name."""
    stills: dict[str, bytes] = field(default_factory=dict)
    """The stills' files, where they are kept."""


def is_watched(named: str) -> bool:
    """Whether a session's name is a camera's or a video's."""
    path = Path(named)
    if path.is_dir():
        return False
    device = path.exists() and path.is_char_device()
    number = named.isdecimal() and not path.exists()
    return number or device or "://" in named or path.suffix.lower() in VIDEO_SUFFIXES


def begun(named: str) -> datetime:
    """When a watched session was played: a video's file was written then, a camera shows now."""
    path = Path(named)
    if path.is_file():
        return datetime.fromtimestamp(path.stat().st_mtime).astimezone()
    return clock.now().astimezone()


def watch_session(
    named: str,
    calibration: Calibration,
    plan: Plan,
    *,
    taught: Taught | None = None,
    player: Player | None = None,
    keep: bool = False,
    on_step: Callable[[Attempt | Transition], None],
    tell: Tell,
) -> WatchedSession:
    """Watch until the source or Ctrl-C ends it; ``on_step`` gets, at each rest, what led to it.

    ``keep`` has the stills kept; ``tell`` takes sentences for the player.

    Raises:
        SourceError: the source cannot be opened.
        StillError: its pictures have another size than the calibration's.
        CalibrationError: code "nothing-settled": the table never lay still and clear.
    """
    source = open_source(named, size_px=calibration.camera.image_size_px, tell=tell)
    reader = Reader(calibration, taught=taught)
    rests = settled_layouts(source, reader, tell=_say(tell))
    scorer = SequenceScorer(plan=plan, table=calibration.table, player=player)
    return _scored(rests, source, scorer, named, keep=keep, on_step=on_step, tell=tell)


def watch_together(
    named: Mapping[str, str],
    calibrations: Mapping[str, Calibration],
    plan: Plan,
    *,
    taught: Taught | None = None,
    player: Player | None = None,
    keep: bool = False,
    on_step: Callable[[Attempt | Transition], None],
    tell: Tell,
) -> WatchedSession:
    """The same by several cameras over one table: a source and a calibration of each, by name.

    The stills that are kept are the first camera's.

    Raises:
        SourceError: a source cannot be opened, or videos stand beside cameras.
        JoinError: calibrations of different tables.
        StillError, CalibrationError: as ``watch_session``.
    """
    source = SourcesTogether(
        {
            name: open_source(
                each, size_px=calibrations[name].camera.image_size_px, tell=_say(tell)
            )
            for name, each in named.items()
        }
    )
    readers = {name: Reader(made, taught=taught) for name, made in calibrations.items()}
    rests = settled_together(source, readers, tell=_say(tell))
    table = next(iter(calibrations.values())).table
    scorer = SequenceScorer(plan=plan, table=table, player=player)
    shown = ", ".join(named.values())
    return _scored(rests, source, scorer, shown, keep=keep, on_step=on_step, tell=tell)


def _say(tell: Tell) -> Tell:
    def say(words: str) -> None:
        if words:  # what holds no more is told by its absence where it is shown, not in a list
            tell(words)

    return say


def _scored(
    rests: Iterator[Settled],
    source: Closable,
    scorer: SequenceScorer,
    named: str,
    *,
    keep: bool,
    on_step: Callable[[Attempt | Transition], None],
    tell: Tell,
) -> WatchedSession:
    out = WatchedSession()
    with _ended_by_interrupt(source) as interrupts:
        for rest in rests:
            name = rest.layout.still
            seen = None if rest.watched is None else seen_of(rest.watched)
            out.readings.append((name, rest.layout))
            if seen is not None:
                out.seen[name] = seen
            if keep:
                out.stills[name] = _packed(rest)
            for step in scorer.take(name, rest.layout, seen=seen):
                on_step(step)
    if interrupts:
        tell(f"{named}: no longer watched.")
    for step in scorer.finish():
        on_step(step)
    if not out.readings:
        raise CalibrationError(
            f"{named}: the table never lay still and clear for half a second; allowed: a view in "
            "which it does. Check the calibration, or record longer.",
            code="nothing-settled",
        )
    return out


class Closable(Protocol):
    """What ends when it is closed, from any thread."""

    def close(self) -> None:
        """End soon."""


@contextmanager
def _ended_by_interrupt(source: Closable) -> Iterator[list[int]]:
    """Ctrl-C ends the source, and what is being read is read to its end; a second one breaks off.

    An exception out of nowhere may be lost where it falls, and a still may be half taken in.
    """
    met: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield met  # interrupts go to the main thread
        return

    def end(number: int, _frame: object) -> None:
        if met:
            raise KeyboardInterrupt
        met.append(number)
        # by another thread: this one may hold the very lock that closing needs
        threading.Thread(target=source.close, daemon=True).start()

    before = signal.signal(signal.SIGINT, end)
    try:
        yield met
    finally:
        signal.signal(signal.SIGINT, before)


def _packed(rest: Settled) -> bytes:
    data = cv2.imencode(".jpg", rest.picture, [cv2.IMWRITE_JPEG_QUALITY, _KEPT_QUALITY])[1]
    return bytes(data.tobytes())
