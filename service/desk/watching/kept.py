"""Watches that outlast the service: kept with their table, begun again when it starts."""

from __future__ import annotations

import threading

from service.store import OVERHEAD, Store
from vision.sources.opening import ends_by_itself

from .state import WatchState
from .watches import Watches


class KeptWatches:
    """Begins and ends watches for good. Any thread but the desk's own ones may ask."""

    def __init__(self, store: Store, watches: Watches) -> None:
        self._store = store
        self._watches = watches
        self._lock = threading.Lock()

    def begin(self, table_id: int, named: str, camera: str = OVERHEAD) -> WatchState:
        """Watch a source as that camera of a table from now on, after a restart too.

        A video is watched once: begun again it would show the same shots a second time.

        Raises:
            SourceError: the name is no source.
        """
        self._watches.check(named)
        with self._lock:
            with self._store.writing() as writer:
                if ends_by_itself(named):
                    writer.drop_watch(table_id, camera)
                else:
                    writer.keep_watch(table_id, named, camera)
            return self._watches.begin(table_id, named, camera)

    def end(self, table_id: int, camera: str = OVERHEAD) -> None:
        """Nothing is watched as that camera from now on."""
        with self._lock:
            with self._store.writing() as writer:
                writer.drop_watch(table_id, camera)
            self._watches.end(table_id, camera)

    def resume(self) -> dict[tuple[int, str], WatchState]:
        """Watch what was watched when the service ended, where nothing else is by now.

        A source that is not there is waited for. Returns what was begun, by table and camera.
        """
        with self._store.reading() as reader:
            kept = reader.watches()
        return {
            (each.table_id, each.camera): self._watches.begin(
                each.table_id, each.source, each.camera, resumed=True
            )
            for each in kept
            if (each.table_id, each.camera) not in self._watches.states()
        }
