"""The ball set of this table: the set given at the start and all corrections since, as one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.desk.stored import calibration_of
from service.store import FIRST, Reader, ReadingRecord, Store
from vision.known.teaching import teach_still
from vision.layout import Layout
from vision.name.taught import LOOKS_KEPT, Taught

from .known_set import KnownSet, NotLearned

Teach = Callable[[bytes, Calibration, Layout, Taught | None], Taught]


def teach(data: bytes, calibration: Calibration, layout: Layout, taught: Taught | None) -> Taught:
    """Learn one still with the shipped networks."""
    return teach_still(data, calibration, layout, taught=taught)


class BallSet:
    """What is known of a table's set, learned again whenever something about it changes.

    Corrections are kept as what was said of which still, so that a later release with other
    networks learns from the same stills anew.
    """

    def __init__(self, store: Store, learn: Teach = teach, *, table_id: int = FIRST) -> None:
        self._store = store
        self.table_id = table_id
        self._learn = learn
        self._known: KnownSet | None = None

    @property
    def current(self) -> KnownSet | None:
        """What is known; None where it has to be learned first. Any thread may look."""
        return self._known

    def changed(self) -> None:
        """Something was taught or corrected: learn before the next answer."""
        self._known = None

    def known(self) -> KnownSet:
        """The set as known now, learned if need be."""
        known = self._known
        if known is None:
            with self._store.reading() as reader:
                known = self._learned(reader)
            self._known = known
        return known

    def _learned(self, reader: Reader) -> KnownSet:
        known = _given(reader, self.table_id)
        for reading in reader.corrected_readings(limit=LOOKS_KEPT, table_id=self.table_id):
            known = self._with(reader, reading, known)
        return known

    def _with(self, reader: Reader, reading: ReadingRecord, known: KnownSet) -> KnownSet:
        """The set after one corrected still; one that cannot be learned from leaves it as is."""
        record = reader.calibration(reading.still_calibration_id)
        if record is None:
            return known
        try:
            data = self._store.files.read(reading.still.sha256)
            layout = _to_learn_from(reader, reading)
            taught = self._learn(data, calibration_of(record), layout, known.taught)
        except RestmarkError as refusal:
            refused = NotLearned(reading_id=reading.id, detail=refusal.detail)
            return replace(known, not_learned=(*known.not_learned, refused))
        return replace(known, taught=taught, learned_from=(*known.learned_from, reading.id))


def _to_learn_from(reader: Reader, reading: ReadingRecord) -> Layout:
    """The reading's layout; of a set of its own colours those names alone that a person said.

    There a sure name is no evidence: it is the one that was left. What another camera alone saw
    is not in its still.
    """
    layout, part = reading.layout, reading.still_part
    if part is not None:
        seen = tuple(ball for ball in layout.balls if part.camera in ball.seen_by)
        layout = replace(layout, balls=seen)
    said = reader.corrections(reading.id)
    if not (said and said[0].layout_before.unlike):
        return layout
    return replace(layout, balls=tuple(ball for ball in layout.balls if ball.said))


def _given(reader: Reader, table_id: int) -> KnownSet:
    """The set that was given as a whole, before any correction."""
    record = reader.ball_set(table_id)
    if record is None:
        return KnownSet()
    try:
        taught = Taught.from_dict(record.document, path=f"sets[{record.id}]")
    except RestmarkError as refusal:
        # an older release's networks saw it; the stills still teach
        return KnownSet(given_at=record.taught_at, given_refused=refusal.detail)
    return KnownSet(taught=taught, given_at=record.taught_at, set_id=record.id)
