"""The strip of states that every page shows: camera, calibration, disk, the last still."""

from __future__ import annotations

import math
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import quote

from service import clock
from service.desk.desk import Desk
from service.desk.stored import calibration_of, trust_of
from service.desk.watching.state import LOST, WATCHING, WatchState
from service.door import Role
from service.store import (
    DAMAGED,
    LOOKING,
    OVERHEAD,
    CalibrationRecord,
    Reader,
    ReadingRecord,
    Store,
)
from service.store.writing.moments import TOLD_FROM, lag_words
from service.words.lengths import Lengths
from service.words.plain import counted
from vision.layout import APART, AWAY, MOVED

from .shown import Shown

LOW_DISK_BYTES = 2_000_000_000
"""A few thousand stills more."""
SOURCE_LETTERS = 24
FULL_DISK_BYTES = 300_000_000
OLD = timedelta(days=30)
"""A calibration that old is still good, where nothing moved; it is said all the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One state: what of, how it stands, and whether that is well."""

    name: str
    label: str
    words: str
    level: str = "ok"
    """``ok``, ``care`` (look at it), ``bad`` (it does not work so) or ``none`` (not there yet)."""
    link: str = ""
    """Where it is put right."""


def strip_view(reader: Reader, desk: Desk, shown: Shown) -> tuple[State, ...]:
    """All states in their order."""
    calibration = reader.calibration(table_id=shown.table)
    last = reader.latest_live(shown.table)
    states = (
        *camera_states(desk, tuple(reader.calibrations_held(shown.table)), last, shown.table),
        _calibration(calibration, shown),
        _disk(desk.store.data_dir),
        last_state(last or reader.latest_shown(shown.table)),
        *_device(shown.role),
    )
    return (*states, *_data(desk.store), *_clock(desk.store))


def beside_the_store(desk: Desk) -> tuple[object, ...]:
    """What the strip tells beside what is kept, as values that are equal where it tells the same.

    Ages are told by the minute, the disk's room by a tenth of a gigabyte.
    """
    store = desk.store
    return (
        desk.watches.states(),
        store.condition,
        store.stills_check,
        lag_words(store.moments.behind),
        disk_words(store.data_dir),
        clock.now().astimezone().replace(second=0, microsecond=0),
    )


def _device(role: Role) -> tuple[State, ...]:
    """What this device may not do; an owner's may do everything."""
    if role is Role.VIEWER:
        return (State(name="device", label="This device", words="only looks on", level="none"),)
    return ()


def camera_states(
    desk: Desk, names: tuple[str, ...], last: ReadingRecord | None, table_id: int
) -> Iterator[State]:
    """The table's camera; of several each, and what the last still told of it."""
    if len(names) < 2:
        yield _camera(desk.watches.state(table_id))
        return
    parts = {} if last is None else {part.camera: part for part in last.layout.cameras}
    for number, name in enumerate(names):
        state = _camera(desk.watches.state(table_id, name))
        told = _TOLD.get(parts[name].state) if name in parts else None
        state = replace(
            state, name="camera" if number == 0 else f"camera-{number}", label=f"Camera {name}"
        )
        if told is not None:
            state = replace(state, words=f"{told}; {state.words}", level="care", link="/setup")
        yield replace(state, link=setup_address(name)) if state.link else state


def setup_address(camera: str) -> str:
    """The set-up page of one of a table's cameras."""
    return "/setup" if camera == OVERHEAD else f"/setup?camera={quote(camera, safe='')}"


_TOLD = {
    MOVED: "was moved, calibrate it anew",
    APART: "disagrees with another, calibrate both anew",
    AWAY: "gave no still last",
}
"""Of the states of a joined layout's cameras those that want a look."""


def _camera(watch: WatchState) -> State:
    name, label, link = "camera", "Camera", "/setup"
    if watch.state == WATCHING:
        again = " as before" if watch.resumed else ""
        words = f"watching {_short(watch.source)}{again}"
        return State(name=name, label=label, words=words)
    if watch.state == LOST:
        words = f"{_short(watch.source)} is away, waited for"
        return State(name=name, label=label, words=words, level="bad", link=link)
    return State(name=name, label=label, words="none watched", level="none")


def _short(source: str | None) -> str:
    """A source as the strip has room for: the end of a path says most."""
    shown = source or ""
    return shown if len(shown) <= SOURCE_LETTERS else f"…{shown[-SOURCE_LETTERS:]}"


def _calibration(record: CalibrationRecord | None, shown: Shown) -> State:
    name, label, link = "calibration", "Calibration", "/setup"
    if record is None:
        return State(name=name, label=label, words="none yet", level="bad", link=link)
    made, age = calibration_of(record), age_words(record.set_at)
    trust = trust_of(record)
    if not trust.good:
        words = f"not to be trusted yet, {age}"
        return State(name=name, label=label, words=words, level="care", link=link)
    # rounded up: what is promised must hold
    within_mm = math.ceil(trust.within_mm * 10) / 10
    within = f"good within {Lengths.on(made.table, shown.units).text(within_mm)}, "
    is_old = clock.now() - record.set_at > OLD
    return State(
        name=name, label=label, words=(within if within_mm else "") + age,
        level="care" if is_old else "ok", link=link,
    )  # fmt: skip


def _disk(folder: Path) -> State:
    free = shutil.disk_usage(folder).free
    level = "bad" if free < FULL_DISK_BYTES else "care" if free < LOW_DISK_BYTES else "ok"
    return State(name="disk", label="Disk", words=disk_words(folder), level=level)


def disk_words(folder: Path) -> str:
    """The room that is left, as roughly as it matters."""
    gigabytes = shutil.disk_usage(folder).free / 1e9
    return f"{gigabytes:.0f} GB free" if gigabytes >= 10 else f"{gigabytes:.1f} GB free"


def _data(store: Store) -> tuple[State, ...]:
    """How whole what is kept is; nothing while all is well."""
    name, label, link = "data", "Data", "/docs/keeping"
    condition, damaged = store.condition, len(store.stills_check.damaged)
    if condition.state == DAMAGED:
        words = "damaged: nothing is stored, restore a copy"
        return (State(name=name, label=label, words=words, level="bad", link=link),)
    if condition.state == LOOKING:
        words = "being looked over, a shot waits for it"
        return (State(name=name, label=label, words=words, level="care", link=link),)
    if damaged:
        words = f"{counted(damaged, 'picture')} gone or damaged"
        return (State(name=name, label=label, words=words, level="care", link=link),)
    if condition.no_copy:
        words = "no copy could be made today"
        return (State(name=name, label=label, words=words, level="care", link=link),)
    return ()


def _clock(store: Store) -> tuple[State, ...]:
    """A clock that was put back; nothing while it goes on."""
    lag = store.moments.behind
    if lag < TOLD_FROM:
        return ()
    words = f"stands {lag_words(lag)} behind what was kept"
    return (State(name="clock", label="Clock", words=words, level="care", link="/docs/keeping"),)


def last_state(reading: ReadingRecord | None) -> State:
    """The last live still, and what keeps it from counting; of one given before, that it is old."""
    if reading is None:
        return State(name="last", label="Last still", words="none yet", level="none")
    if not reading.live:
        words = "none live yet, older ones are shown"
        return State(name="last", label="Last still", words=words, level="none")
    layout = reading.layout
    at = clock_words(reading.still.received_at)
    if layout.obstructed:
        return State(name="last", label="Last still", words=f"{at}, obstructed", level="care")
    if not layout.settled:
        return State(name="last", label="Last still", words=f"{at}, balls moved", level="care")
    words = f"{at}, {counted(len(layout.balls), 'ball')}"
    return State(name="last", label="Last still", words=words)


def age_words(then: datetime) -> str:
    """How long ago, as roughly as it matters."""
    minutes = (clock.now() - then).total_seconds() / 60
    if minutes < -2:
        return "dated ahead of the clock"
    if minutes < 60:
        return "set just now" if minutes < 2 else f"set {minutes:.0f} min ago"
    if minutes < 48 * 60:
        return f"set {minutes / 60:.0f} h ago"
    return f"set {minutes / 1440:.0f} days ago"


def clock_words(then: datetime) -> str:
    """The time of day; with the day where that is another than today."""
    here = then.astimezone()
    if here.date() == clock.today():
        return here.strftime("%H:%M:%S")
    return here.strftime("%Y-%m-%d %H:%M")
