"""The set-up guide at each table: what is to be laid there, and looks at how far it has come."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calibration import strict
from calibration.errors import RestmarkError
from service.desk.readers import ReadStill, at_table
from service.desk.refusals import DeskError, no_calibration
from service.desk.stored import calibration_of
from service.guide.errors import GuideError
from service.guide.guided import DEFAULT_MM, Guided, check_tolerance, guided
from service.guide.set_up import set_up_error
from service.layouts.entry import carried_over
from service.layouts.turned import Turned
from service.store import FIRST, CalibrationRecord, GuideRecord, Reader, Store
from vision.layout import Layout
from vision.name.taught import Taught

from .library import copy_of

_KEYS = ("layout_id", "reading_id", "layout", "mirror", "turn", "tolerance_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """The guide of a table and the table as last looked at."""

    record: GuideRecord
    calibration: CalibrationRecord | None
    found: Guided | None
    """None where nothing was read at that table yet."""
    reading_id: int | None = None
    """The reading that was looked at; None for a picture that is not kept."""


class Guides:
    """Sets and asks guides; looks read pictures as a sequence of their own, a table each."""

    def __init__(self, store: Store, read: ReadStill) -> None:
        self.store = store
        self._read = read
        self._seen: dict[int, tuple[int, Layout]] = {}
        """By table: the calibration's number and the last picture's layout, for its names."""
        self._lock = threading.Lock()

    # -- what is to be laid ----------------------------------------------------------------

    def put(self, document: Mapping[str, Any], table_id: int = FIRST) -> GuideRecord:
        """A kept layout, a reading's or a given one is to be laid at that table.

        Where none is named the one that is being laid stays: only the tolerance is another.

        Raises:
            GuideError, LayoutError, FileFormatError: it cannot be laid so.
            NotFoundError: there is no such layout, reading or table.
        """
        row = strict.record(
            document, "guide", known=_KEYS, closed=True, error=GuideError, remedy="Correct it."
        )
        with self.store.writing() as writer:
            writer.table(table_id)
            held = writer.guide(table_id)
            if held is not None and set(row) <= {"tolerance_mm"}:
                layout, layout_id = held.layout, held.layout_id
            else:
                layout, layout_id = _wanted(writer, row)
            tolerance = row.get("tolerance_mm")
            if tolerance is None:
                tolerance = DEFAULT_MM if held is None else held.tolerance_mm
            check_tolerance(tolerance)
            calibration = writer.calibration(table_id=table_id)
            if calibration is not None:
                layout = carried_over(layout, calibration_of(calibration).table.surface_mm)
            record = writer.set_guide(
                layout, tolerance_mm=float(tolerance), layout_id=layout_id, table_id=table_id
            )
            writer.tell("guide", table_id=table_id, layout_id=layout_id)
        return record

    def drop(self, table_id: int = FIRST) -> None:
        """Nothing is to be laid at that table any more.

        Raises:
            DeskError: nothing was.
        """
        with self.store.writing() as writer:
            if not writer.drop_guide(table_id):
                raise no_guide()
            writer.tell("guide", table_id=table_id, layout_id=None)

    # -- looks -----------------------------------------------------------------------------

    def state(self, table_id: int = FIRST) -> Look:
        """The newest live reading of that table against what is to be laid there.

        Raises:
            DeskError: nothing is to be laid there (code "no-guide").
        """
        with self.store.reading() as reader:
            record = _guide(reader, table_id)
            calibration = reader.calibration(table_id=table_id)
            reading = reader.latest_live(table_id)
        if reading is None:
            return Look(record=record, calibration=calibration, found=None)
        return Look(
            record=record,
            calibration=calibration,
            found=_compared(record, reading.layout),
            reading_id=reading.id,
        )

    def look(
        self, data: bytes, *, name: str = "", taught: Taught | None = None, table_id: int = FIRST
    ) -> Look:
        """A picture of that table, now, against what is to be laid there; nothing is kept of it.

        Raises:
            DeskError: nothing is to be laid there (code "no-guide"), or there is no calibration.
            StillError, CalibrationError: the picture cannot be read.
        """
        with self.store.reading() as reader:
            record = _guide(reader, table_id)
            calibration = reader.calibration(table_id=table_id)
            if calibration is None:
                raise no_calibration(table_id)
            before = self._before(reader, table_id, calibration.id)
        known = {} if taught is None else {"taught": taught}
        now = at_table(self._read, table_id)(
            data, calibration_of(calibration), name=name, previous=before, **known
        )
        if not now.obstructed:
            with self._lock:
                self._seen[table_id] = (calibration.id, now)
        return Look(record=record, calibration=calibration, found=_compared(record, now))

    def _before(self, reader: Reader, table_id: int, calibration_id: int) -> Layout | None:
        """What knows the names of balls that did not move: the last picture, or reading."""
        with self._lock:
            seen = self._seen.get(table_id)
        if seen is not None and seen[0] == calibration_id:
            return seen[1]
        reading = reader.latest_comparable(calibration_id)
        return None if reading is None else reading.layout


def guide_said(reader: Reader, table_id: int, before: Layout) -> dict[str, Any] | None:
    """How far off the guide's layout the balls lay before a shot, as the attempt keeps it.

    None where no guide is at the table, or something else lay there.
    """
    record = reader.guide(table_id)
    if record is None:
        return None
    try:
        wanted = carried_over(record.layout, before.surface_mm)
        error = set_up_error(
            wanted, before, layout_id=record.layout_id, tolerance_mm=record.tolerance_mm
        )
    except RestmarkError:
        # an attempt is never lost for a guide that no longer fits the table
        return None
    return None if error is None else error.to_dict()


def no_guide() -> DeskError:
    """What is said where a guide is asked for and nothing is to be laid."""
    return DeskError(
        "guide: nothing is to be laid at this table; allowed: a layout first. PUT one to "
        "/api/v1/guide.",
        code="no-guide",
    )


def _guide(reader: Reader, table_id: int) -> GuideRecord:
    reader.table(table_id)
    record = reader.guide(table_id)
    if record is None:
        raise no_guide()
    return record


def _compared(record: GuideRecord, now: Layout) -> Guided:
    wanted = carried_over(record.layout, now.surface_mm)
    return guided(wanted, now, tolerance_mm=record.tolerance_mm)


def _wanted(reader: Reader, row: Mapping[str, Any]) -> tuple[Layout, int | None]:
    """The layout that is meant, mirrored and turned; the kept one's number where it is that."""
    given = [name for name in ("layout_id", "reading_id", "layout") if row.get(name) is not None]
    if len(given) != 1:
        raise GuideError(
            f"guide: got {' and '.join(given) or 'no layout'}; allowed: one of layout_id, "
            "reading_id and layout. Say which layout is to be laid."
        )
    mirror, turn = row.get("mirror"), row.get("turn") or 0
    way = Turned.of(mirror=mirror, turn_deg=turn)
    if given[0] == "layout":
        layout, layout_id = Layout.from_dict(row["layout"], path="guide.layout"), None
    elif given[0] == "reading_id":
        layout, layout_id = reader.reading(_number(row, "reading_id")).layout, None
    else:
        layout_id = _number(row, "layout_id")
        kept = copy_of(reader.layout(layout_id), mirror=mirror, turn=turn)
        return _laid(replace(kept.layout, still=kept.title)), layout_id
    return _laid(way.layout(layout)), layout_id


def _laid(layout: Layout) -> Layout:
    if not layout.balls:
        raise GuideError(
            "guide.layout: got no balls; allowed: a layout with at least one. Give it."
        )
    return layout


def _number(row: Mapping[str, Any], name: str) -> int:
    number = row[name]
    if type(number) is not int or not 0 < number < 2**31:
        raise GuideError(
            f"guide.{name}: got {strict.shown(number)}; allowed: a number of the list. Look it up."
        )
    return number
