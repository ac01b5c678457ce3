"""Clear stills of a store as a folder in the truth format, to train on and to compare with.

Nothing here is measured: places are the service's own readings, and names are its own unless a
person said them. The file says so still by still and ball by ball.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

import cv2

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from calibration.watch.drift import DriftWatch
from service.desk.names.said import said_names
from service.desk.stored import calibration_behind
from service.store import CorrectionRecord, Reader, ReadingRecord, Store, StoreError
from vision.header import is_turned, kind_of
from vision.layout import Ball, Layout
from vision.still import Picture, decode_still
from vision.truth.file import (
    CONFIRMED,
    CORRECTED,
    READ,
    TRUTH_FILE,
    TRUTH_FORMAT,
    TRUTH_VERSION,
)

HOW = (
    "exported from a practice: every place is this service's own reading of the still, not a "
    "measurement; names are its own too, but for those that a person confirmed or corrected"
)
WatchOf = Callable[[Calibration], DriftWatch]
HIDING = "hidden"
"""Code of the notice that something lies over the bed."""


class Track(Protocol):
    """Wraps a loop, for a progress display."""

    def __call__(self, items: Sequence[int], words: str, /) -> Any:
        """The same items."""


def _untracked(items: Sequence[int], words: str) -> Iterator[int]:
    yield from items


class TruthFolderError(RestmarkError):
    """Stills cannot be put into that folder, or there are none to put there."""

    code = "bad-folder"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which stills."""

    table_id: int | None = None
    since: datetime | None = None
    until: datetime | None = None
    only_corrected: bool = False


@dataclass(slots=True, kw_only=True)
class Exported:
    """What was put into the folder, and what was left out and why."""

    stills: int = 0
    named: Counter[str] = field(default_factory=Counter)
    """Balls by how their names are known: ``corrected``, ``confirmed``, ``read``."""
    left_out: Counter[str] = field(default_factory=Counter)
    """Stills by the reason."""

    def to_dict(self) -> dict[str, Any]:
        """JSON object."""
        return {
            "stills": self.stills,
            "balls": sum(self.named.values()),
            "names": {how: self.named[how] for how in (CORRECTED, CONFIRMED, READ)},
            "left_out": dict(self.left_out),
        }


def export_stills(
    store: Store, folder: Path, wanted: Wanted, *, track: Track = _untracked
) -> Exported:
    """Write stills and their ``truth.json`` into ``folder``, made if missing.

    A still is left out where something lay over the bed, balls rolled, a name is in doubt, it
    shows no ball, camera or table had moved too far, or its file is gone or damaged. The camera
    is the calibration's, put right by what the rails of that still say.

    Raises:
        TruthFolderError: the folder holds something, or no still is left.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise TruthFolderError(
            f"{folder}: holds something already; allowed: a new folder, or an empty one. "
            "Give another --out."
        )
    done, entries = Exported(), {}
    with store.reading() as reader:
        numbers = reader.reading_numbers(
            table_id=wanted.table_id, since=wanted.since, until=wanted.until,
            corrected=wanted.only_corrected,
        )  # fmt: skip
        if numbers:
            folder.mkdir(parents=True, exist_ok=True)
        watch_of: WatchOf = lru_cache(maxsize=1)(DriftWatch)
        for number in track(numbers, "writing stills"):
            reading = reader.reading(number)
            why = _left_out(reading.layout) or _by_others(reading)
            if why is not None:
                done.left_out[why] += 1
                continue
            try:
                name, entry = _exported(store, reader, reading, folder, watch_of)
            except StoreError:
                done.left_out["its file is gone or damaged"] += 1
            except RestmarkError:
                done.left_out["it cannot be looked at again, or camera or table had moved"] += 1
            else:
                entries[name] = entry
                done.named.update(ball["named"] for ball in entry["balls"])
    done.stills = len(entries)
    if not entries:
        why = "; ".join(f"{count}: {reason}" for reason, count in done.left_out.items())
        raise TruthFolderError(
            f"{store.data_dir}: no still to export{f' ({why})' if why else ''}; allowed: clear "
            "stills at rest with every name sure. Ask for another time, or say the names in doubt."
        )
    (folder / TRUTH_FILE).write_text(_document(done, entries), encoding="utf-8")
    return done


def _left_out(layout: Layout) -> str | None:
    """Why a reading is no truth to go by; None where it is."""
    if layout.obstructed or any(notice.code == HIDING for notice in layout.notices):
        return "something lay over the bed"
    if not layout.settled:
        return "balls were not at rest"
    if not layout.balls:
        return "no ball on the table"
    if any(ball.doubtful for ball in layout.balls):
        return "a name is in doubt"
    return None


def _by_others(reading: ReadingRecord) -> str | None:
    """Why its still does not show what was read; None where it does."""
    part = reading.still_part
    if part is None or all(part.camera in ball.seen_by for ball in reading.layout.balls):
        return None
    return "another camera alone saw one of its balls"


def _exported(
    store: Store, reader: Reader, reading: ReadingRecord, folder: Path, watch_of: WatchOf
) -> tuple[str, dict[str, Any]]:
    """Write one still; its file's name and what is told of it."""
    calibration = calibration_behind(reader, reading)
    data = store.files.read(reading.still.sha256)
    picture, as_it_is, seen = _seen(data, calibration, watch_of)
    suffix = {"jpeg": "jpg", "png": "png"}[kind_of(data) or "png"] if as_it_is else "png"
    name = f"still-{reading.still.id:06d}.{suffix}"
    content = data if as_it_is else cv2.imencode(".png", picture)[1].tobytes()
    (folder / name).write_bytes(content)
    said = reader.corrections(reading.id)
    entry: dict[str, Any] = {
        "camera": seen.camera.to_dict(),
        "table": seen.table.to_dict(),
        "head": seen.head,
        "obstructed": False,
        "places": READ,
        "balls": balls_of(reading.layout, said),
        "scene": {
            "reading": reading.id,
            "received_at": reading.still.received_at.isoformat(),
            "read_by": {"weights": reading.read_by.weights, "release": reading.read_by.software},
        },
    }
    return name, entry


def _seen(
    data: bytes, calibration: Calibration, watch_of: WatchOf
) -> tuple[Picture, bool, Calibration]:
    """The picture as it was read, whether the file's bytes show just that, and the camera then."""
    turned = is_turned(data)
    plain = kind_of(data) in ("jpeg", "png") and not turned
    try:
        return _looked_at(data, calibration, watch_of, plain=plain, as_stored=False)
    except RestmarkError:
        if not turned:
            raise
        return _looked_at(data, calibration, watch_of, plain=plain, as_stored=True)


def _looked_at(
    data: bytes, calibration: Calibration, watch_of: WatchOf, *, plain: bool, as_stored: bool
) -> tuple[Picture, bool, Calibration]:
    size_px = calibration.camera.image_size_px
    picture = decode_still(data, size_px=size_px, as_stored=as_stored)
    return picture, plain, watch_of(calibration).check(picture).calibration


def balls_of(layout: Layout, said: Sequence[CorrectionRecord]) -> list[dict[str, Any]]:
    """The layout's balls with how each name is known and how sure its place is, as read."""
    stands = said_names(layout, said)
    corrected = {now for now, _ in stands.changed}
    return [
        {
            "id": ball.id,
            "x_mm": ball.x_mm,
            "y_mm": ball.y_mm,
            "cov_mm2": [list(row) for row in ball.cov_mm2],
            "named": _named(ball, corrected, stands.confirmed),
        }
        for ball in layout.balls
    ]


def _named(ball: Ball, corrected: set[str], confirmed: Sequence[str]) -> str:
    if ball.id in corrected:
        return CORRECTED
    # said of an earlier still, of a ball that has not moved since
    return CONFIRMED if ball.id in confirmed or ball.said else READ


def _document(done: Exported, entries: Mapping[str, Any]) -> str:
    body = {
        "format": TRUTH_FORMAT,
        "version": TRUTH_VERSION,
        "made_by": {"how": HOW, "units": "mm in the table frame", **done.to_dict()},
        "stills": dict(sorted(entries.items())),
    }
    return json.dumps(body, indent=1) + "\n"
