"""The watches of all tables, at most one a camera."""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial

from calibration.kept.calibration import Calibration
from service.store import OVERHEAD
from vision.sources.frame import untold

from .state import LastStill, WatchState
from .watch import Opened, Rest, Watch


class Watches:
    """Begins, changes and ends them. Any thread but the desk's own ones may ask for a change."""

    def __init__(
        self,
        opened: Opened,
        *,
        calibration: Callable[[int, str], Calibration | None],
        take: Callable[[int, str, Rest], LastStill],
        changed: Callable[[int, str], None],
    ) -> None:
        """``calibration``, ``take`` and ``changed`` as for a watch, given the table's number and
        the camera's name."""
        self._opened = opened
        self._calibration = calibration
        self._take = take
        self._changed = changed
        self._lock = threading.Lock()
        self._watches: dict[tuple[int, str], Watch] = {}

    def state(self, table_id: int, camera: str = OVERHEAD) -> WatchState:
        """That camera's watch as it stands."""
        watch = self._watches.get((table_id, camera))
        return WatchState() if watch is None else watch.state

    def states(self) -> dict[tuple[int, str], WatchState]:
        """Every watch that was begun, by its table and camera, as it stands."""
        return {at: watch.state for at, watch in sorted(self._watches.copy().items())}

    def unchanged_since(self, table_id: int, camera: str, moment_s: float) -> Rest | None:
        """What that camera handed on last, where it watched since and saw nothing change."""
        watch = self._watches.get((table_id, camera))
        return None if watch is None else watch.unchanged_since(moment_s)

    def check(self, named: str) -> None:
        """Look at a name alone; nothing is opened yet.

        Raises:
            SourceError: the name is no source.
        """
        self._opened(named, size_px=None, tell=untold, only_new=True)

    def begin(
        self, table_id: int, named: str, camera: str = OVERHEAD, *, resumed: bool = False
    ) -> WatchState:
        """Watch a source as that camera, in place of another; one that is away is waited for."""
        at = (table_id, camera)
        with self._lock:
            was = self._watches.get(at)
            if was is not None:
                was.stop()
            watch = Watch(
                named,
                resumed=resumed,
                opened=self._opened,
                calibration=partial(self._calibration, *at),
                take=partial(self._take, *at),
                changed=partial(self._changed, *at),
            )
            self._watches[at] = watch
            watch.start()
        self._changed(*at)
        return watch.state

    def end(self, table_id: int, camera: str = OVERHEAD) -> bool:
        """Whether a watch of that camera was ended."""
        with self._lock:
            watch = self._watches.get((table_id, camera))
            if watch is None or not watch.is_on:
                return False
            watch.stop()
        return True

    def renew(self, table_id: int, camera: str = OVERHEAD) -> None:
        """Another calibration of that camera holds."""
        watch = self._watches.get((table_id, camera))
        if watch is not None:
            watch.renew()

    def close(self) -> None:
        """End them all."""
        with self._lock:
            for watch in self._watches.values():
                watch.stop()
