"""Stills of one moment by a table's cameras, waited for together.

A still of one camera waits for those of the others, as long as ``wait_s``; then what is there is
read, and who is away is said. A camera that is watched and saw nothing change since sends nothing:
its last still counts. A camera that sends again before the others came begins a moment of its own:
the one before is read without them.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field

from service.desk.refusals import no_still_of, unknown_camera
from service.store import OVERHEAD

from .taking import Taken
from .upload import Moment, Upload

WAIT_S = 2.0
"""How long a still waits for the other cameras of its table."""
LOOK_S = 0.25
"""So often it is looked at whether the others saw nothing change."""


@dataclass(slots=True, kw_only=True)
class _Open:
    """A moment that still waits."""

    cameras: tuple[str, ...]
    uploads: dict[str, Upload] = field(default_factory=dict)
    answer: Future[Taken] = field(default_factory=Future)
    began_s: float = field(default_factory=time.monotonic)
    timer: threading.Timer | None = None


class Gathering:
    """Any thread may hand stills in; each gets the answer of its whole moment."""

    def __init__(
        self,
        take: Callable[[Moment], Future[Taken]],
        cameras: Callable[[int], Sequence[str]],
        *,
        answered: Callable[[Upload], bool],
        unchanged: Callable[[int, str, float], Upload | None] = lambda *_at: None,
        wait_s: float = WAIT_S,
    ) -> None:
        """``take`` takes a moment in its turn; ``cameras`` are those calibrated at a table, and
        ``answered`` tells whether a still's key was used before: it belongs to no new moment.
        ``unchanged`` gives the last still of a table's camera that has seen nothing change up to a
        moment (``time.monotonic``)."""
        self._take = take
        self._cameras = cameras
        self._answered = answered
        self._unchanged = unchanged
        self._wait_s = wait_s
        self._lock = threading.Lock()
        self._open: dict[int, _Open] = {}

    def hand_in(self, upload: Upload) -> Future[Taken]:
        """The answer to come.

        Raises:
            DeskError: the table has no such camera.
        """
        cameras = tuple(self._cameras(upload.table_id)) or (OVERHEAD,)
        if upload.camera not in cameras:
            raise unknown_camera(upload.camera, cameras, upload.table_id)
        if len(cameras) == 1 or self._answered(upload):
            return self._take(Moment(uploads=(upload,)))
        done: list[_Open] = []
        with self._lock:
            moment = self._open.get(upload.table_id)
            known = None if moment is None else moment.uploads.get(upload.camera)
            if moment is not None and known is not None:
                if (known.sha256, known.key) == (upload.sha256, upload.key):
                    return moment.answer
                done.append(self._closed(upload.table_id))
                moment = None
            if moment is None:
                moment = self._begun(upload.table_id, cameras)
            moment.uploads[upload.camera] = upload
            if set(moment.uploads) >= set(moment.cameras):
                done.append(self._closed(upload.table_id))
        for each in done:
            self._hand_on(each)
        return moment.answer

    def close(self) -> None:
        """Nothing is waited for any longer."""
        with self._lock:
            left = [self._closed(table_id) for table_id in list(self._open)]
        for each in left:
            self._hand_on(each)

    # -- steps; the first two under the lock ----------------------------------------------

    def _begun(self, table_id: int, cameras: tuple[str, ...]) -> _Open:
        moment = _Open(cameras=cameras)
        self._look_later(table_id, moment)
        self._open[table_id] = moment
        return moment

    def _look_later(self, table_id: int, moment: _Open) -> None:
        left_s = moment.began_s + self._wait_s - time.monotonic()
        moment.timer = threading.Timer(
            min(LOOK_S, max(left_s, 0.0)), self._look, (table_id, moment)
        )
        moment.timer.daemon = True
        moment.timer.start()

    def _closed(self, table_id: int) -> _Open:
        moment = self._open.pop(table_id)
        if moment.timer is not None:
            moment.timer.cancel()
        return moment

    def _look(self, table_id: int, moment: _Open) -> None:
        """Whether those that are missing have anything to send, or are waited for too long."""
        with self._lock:
            if self._open.get(table_id) is not moment:
                return
            missing = [name for name in moment.cameras if name not in moment.uploads]
            found = {name: self._unchanged(table_id, name, moment.began_s) for name in missing}
            is_due = time.monotonic() >= moment.began_s + self._wait_s
            if not is_due and None in found.values():
                self._look_later(table_id, moment)
                return
            moment.uploads |= {name: up for name, up in found.items() if up is not None}
            self._closed(table_id)
        self._hand_on(moment)

    def _hand_on(self, moment: _Open) -> None:
        away = {
            name: no_still_of(name, self._wait_s)
            for name in moment.cameras
            if name not in moment.uploads
        }
        ordered = tuple(moment.uploads[name] for name in moment.cameras if name in moment.uploads)
        try:
            taken = self._take(Moment(uploads=ordered, away=away))
        except RuntimeError as wrong:
            # the desk is closed already
            moment.answer.set_exception(wrong)
            return
        taken.add_done_callback(lambda done: _answer(moment.answer, done))


def _answer(waiting: Future[Taken], done: Future[Taken]) -> None:
    """Pass on what came of it; who waited may have left."""
    if not waiting.set_running_or_notify_cancel():
        return
    wrong = done.exception()
    if wrong is not None:
        waiting.set_exception(wrong)
    else:
        waiting.set_result(done.result())
