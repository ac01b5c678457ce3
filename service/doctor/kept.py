"""The data folder: disk, database, pictures, copies, calibrations."""

from __future__ import annotations

import math
import os
import shutil
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

from calibration.errors import RestmarkError
from calibration.kept.trust import Trust
from service import clock
from service.desk.stored import calibration_of
from service.store import CalibrationRecord, TableRecord
from service.store.examine import Examined
from service.store.writing.moments import TOLD_FROM, behind, lag_words

from .findings import CARE, OK, WRONG, Finding

LOW_DISK_BYTES, FULL_DISK_BYTES = 2_000_000_000, 300_000_000
OLD_DAYS = 30
"""A calibration that old is still good, where nothing moved; it is said all the same."""
OLD_COPY_DAYS = 3


def folder_findings(data_dir: Path) -> Iterator[Finding]:
    """Whether the folder can be used, and what room is left."""
    if not data_dir.is_dir():
        yield Finding(
            what="data folder", state=WRONG, found=f"{data_dir} is not there",
            to_do="Give --data the folder that `restmark serve --data` fills.",
        )  # fmt: skip
        return
    usable = os.access(data_dir, os.W_OK | os.X_OK)
    yield Finding(
        what="data folder", state=OK if usable else WRONG,
        found=f"{data_dir.resolve()}" + ("" if usable else " cannot be written"),
        to_do="" if usable else "Give yourself the right to write there.",
    )  # fmt: skip
    free = shutil.disk_usage(data_dir).free
    state = WRONG if free < FULL_DISK_BYTES else CARE if free < LOW_DISK_BYTES else OK
    yield Finding(
        what="disk", state=state, found=f"{free / 1e9:.1f} GB free",
        to_do="" if state == OK else "Make room: nothing is stored on a full disk.",
    )  # fmt: skip


def store_findings(found: Examined) -> Iterator[Finding]:
    """Database, pictures, copies, and each table's calibration."""
    if not found.is_newest:
        yield Finding(
            what="database", found=f"whole, left by an older release (step {found.step}); the next "
            "start brings it up",
        )  # fmt: skip
        return
    counts = found.counts
    yield Finding(
        what="database",
        found=f"whole: {counts['attempts']} attempts, {counts['readings']} readings, step "
        f"{found.step}, looked over in {found.took_s:.1f} s",
    )
    yield _stills(found)
    yield _copies(found.copies)
    yield _clock(found.newest_at)
    for table, record in found.tables:
        yield _calibration(table, record)


def _stills(found: Examined) -> Finding:
    check = found.stills
    if check.damaged:
        return Finding(
            what="pictures", state=WRONG, found=check.warnings[0],
            to_do="Put their files back by `restmark restore`, or post the same pictures again.",
        )  # fmt: skip
    looked = "all" if check.hashed == check.stills else f"the newest {check.hashed}"
    return Finding(what="pictures", found=f"{check.stills}, {looked} looked at and whole")


def _copies(days: tuple[date, ...]) -> Finding:
    if not days:
        return Finding(
            what="daily copies", state=CARE, found="none",
            to_do="A start of `restmark serve` makes one; with PostgreSQL, use `restmark backup`.",
        )  # fmt: skip
    age = (clock.today() - days[0]).days
    state = CARE if age > OLD_COPY_DAYS else OK
    return Finding(
        what="daily copies", state=state, found=f"{len(days)}, the newest of {days[0]}",
        to_do="" if state == OK else "Start the service: it makes one a day. `restmark backup` "
        "makes one elsewhere.",
    )  # fmt: skip


def _clock(newest_at: datetime | None) -> Finding:
    lag = behind(newest_at)
    if lag < TOLD_FROM:
        return Finding(what="clock", found="behind nothing that is kept")
    return Finding(
        what="clock", state=CARE, found=f"stands {lag_words(lag)} behind what was kept last",
        to_do="Set date, time and time zone of the computer where they are wrong. Where they are "
        "right, they were wrong then; shots stay in their order.",
    )  # fmt: skip


def _calibration(table: TableRecord, record: CalibrationRecord | None) -> Finding:
    what = f"calibration of table {table.id}"
    if record is None:
        return Finding(
            what=what, state=WRONG, found="none",
            to_do="Make one on the Set-up page, or by `restmark calibrate` and `serve "
            "--calibration`.",
        )  # fmt: skip
    try:
        trust = Trust.of(calibration_of(record))
    except RestmarkError as wrong:
        return Finding(what=what, state=WRONG, found=wrong.detail, to_do="Calibrate anew.")
    days = (clock.now() - record.set_at).days
    age = f"{days} days old" if days >= 0 else f"of {-days} days to come: a clock stood wrong"
    if not trust.good:
        return Finding(
            what=what, state=CARE, found=f"{age}, not to be trusted yet: {trust.against[0].text}",
            to_do="Calibrate anew with a lens file, a measured height or balls on the cushions.",
        )  # fmt: skip
    within = math.ceil(trust.within_mm * 10) / 10
    good = f", good within {within:.1f} mm" if within else ""
    is_old = days > OLD_DAYS or days < 0
    return Finding(
        what=what, state=CARE if is_old else OK, found=f"{age}{good}",
        to_do="Check it against balls on known spots, or calibrate anew." if is_old else "",
    )  # fmt: skip
