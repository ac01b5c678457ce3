"""The ball set of this table: the set given at the start and all corrections since, as one."""

from __future__ import annotations

from collections.abc import Callable

from calibration.errors import RestmarkError
from calibration.files import Calibration
from service.pages import calibration_of
from service.store import Reader, ReadingRecord, Store
from vision.layout import Layout
from vision.taught import LOOKS_KEPT, Taught
from vision.teaching import teach_still

Teach = Callable[[bytes, Calibration, Layout, Taught | None], Taught]


def teach(data: bytes, calibration: Calibration, layout: Layout, taught: Taught | None) -> Taught:
    """Learn one still with the shipped networks."""
    return teach_still(data, calibration, layout, taught=taught)


class BallSet:
    """What is known of the set, learned again whenever something about it changes.

    Corrections are kept as what was said of which still, so that a later release with other
    networks learns from the same stills anew.
    """

    def __init__(self, store: Store, learn: Teach = teach) -> None:
        self._store = store
        self._learn = learn
        self._known: Taught | None = None
        self._is_current = False

    def changed(self) -> None:
        """Something was taught or corrected: learn before the next answer."""
        self._is_current = False

    def taught(self) -> Taught | None:
        """The set as known now; None where nothing was taught."""
        if not self._is_current:
            with self._store.reading() as reader:
                self._known = self._learned(reader)
            self._is_current = True
        return self._known

    def _learned(self, reader: Reader) -> Taught | None:
        record = reader.ball_set()
        known = None
        if record is not None:
            try:
                known = Taught.from_dict(record.document, path=f"sets[{record.id}]")
            except RestmarkError:
                known = None  # an older release's networks saw it; the stills still teach
        for reading in reader.corrected_readings(limit=LOOKS_KEPT):
            known = self._with(reader, reading, known)
        return known

    def _with(self, reader: Reader, reading: ReadingRecord, known: Taught | None) -> Taught | None:
        """The set after one corrected still; one that cannot be learned from leaves it as is."""
        record = reader.calibration(reading.calibration_id)
        if record is None:
            return known
        try:
            data = self._store.files.read(reading.still.sha256)
            return self._learn(data, calibration_of(record), reading.layout, known)
        except RestmarkError:
            return known
