"""A store's attempts, readings and balls as folders of Parquet files, whole or not there."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from service.store import Reader, ReadingRecord, Store

from .columns import ATTEMPTS, BALLS, FIELDS, MARK, READINGS, REAL, TIME, WHOLE, WORD
from .errors import ParquetError, no_library

_ROWS = 50_000
"""Rows a file: some megabytes, and a partition of whoever reads them in parts."""
_READINGS_AT_ONCE = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """How many rows there are of each kind."""

    attempts: int
    readings: int
    balls: int


def write_parquet(store: Store, folder: Path) -> Written:
    """Write everything of one moment into ``folder``, which is new or empty.

    Raises:
        ParquetError: the folder holds something, cannot be written, or pyarrow is missing.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ParquetError(
            f"{folder}: holds something already; allowed: a new folder, or an empty one. Give "
            "another --parquet."
        )
    try:
        part = Path(tempfile.mkdtemp(dir=folder.parent, prefix=folder.name, suffix=".part"))
    except OSError as wrong:
        raise _no_room(folder, wrong) from None
    try:
        with store.reading() as reader:
            attempts = _write(part, ATTEMPTS, _attempts(reader))
            readings, balls = _write_readings(part, reader)
        part.chmod(0o755 & ~_umask())
        if folder.exists():
            folder.rmdir()
        os.replace(part, folder)
    except OSError as wrong:
        shutil.rmtree(part, ignore_errors=True)
        raise _no_room(folder, wrong) from None
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return Written(attempts=attempts, readings=readings, balls=balls)


def _attempts(reader: Reader) -> Iterator[dict[str, Any]]:
    for row in reader.attempt_rows():
        yield row | {
            "before_reading": row["before_reading_id"],
            "after_reading": row["after_reading_id"],
        }


def _write_readings(part: Path, reader: Reader) -> tuple[int, int]:
    """Readings and their balls side by side, so that all are read from the store once."""
    files, written = [_Files(part, READINGS), _Files(part, BALLS)], [0, 0]
    found = reader.all_readings()
    while some := list(islice(found, _READINGS_AT_ONCE)):
        for k, rows in enumerate(([_reading(each) for each in some], list(_balls(some)))):
            files[k].add(rows)
            written[k] += len(rows)
    for each in files:
        each.close()
    return written[0], written[1]


def _reading(reading: ReadingRecord) -> dict[str, Any]:
    layout, still, made = reading.layout, reading.still, reading.read_by
    return {
        "reading": reading.id, "still": still.id, "still_name": still.name, "sha256": still.sha256,
        "received_at": still.received_at, "table": reading.table_id,
        "calibration": reading.calibration_id, "live": reading.live, "read_at": reading.read_at,
        "took_ms": reading.took_ms, "settled": layout.settled, "obstructed": layout.obstructed,
        "balls": len(layout.balls), "set": made.set_id, "weights": made.weights,
        "software": made.software,
    }  # fmt: skip


def _balls(readings: Iterable[ReadingRecord]) -> Iterator[dict[str, Any]]:
    for reading in readings:
        for ball in reading.layout.balls:
            (xx, xy), (_, yy) = ball.cov_mm2
            yield {
                "reading": reading.id, "table": reading.table_id, "ball": ball.id,
                "x_mm": ball.x_mm, "y_mm": ball.y_mm, "var_x_mm2": xx, "cov_xy_mm2": xy,
                "var_y_mm2": yy, "confidence": ball.confidence, "doubtful": ball.doubtful,
            }  # fmt: skip


def _write(part: Path, kind: str, rows: Iterator[dict[str, Any]]) -> int:
    files, written = _Files(part, kind), 0
    while some := list(islice(rows, _ROWS)):
        files.add(some)
        written += len(some)
    files.close()
    return written


class _Files:
    """The files of a kind, a new one each ``_ROWS`` rows."""

    def __init__(self, part: Path, kind: str) -> None:
        self._folder, self._kind = part / kind, kind
        self._folder.mkdir()
        self._rows: list[Mapping[str, Any]] = []
        self._count = 0

    def add(self, rows: Iterable[Mapping[str, Any]]) -> None:
        self._rows.extend(rows)
        while len(self._rows) >= _ROWS:
            self._file(self._rows[:_ROWS])
            del self._rows[:_ROWS]

    def close(self) -> None:
        """What is left; an empty file where there was nothing, so that the columns stand there."""
        if self._rows or not self._count:
            self._file(self._rows)

    def _file(self, rows: list[Mapping[str, Any]]) -> None:
        pa, pq = _arrow()
        schema = pa.schema(
            [
                pa.field(each.name, _type(pa, each.kind), metadata={"unit": each.unit,
                                                                   "says": each.says})
                for each in FIELDS[self._kind]
            ]
        )  # fmt: skip
        named = [{each.name: row[each.name] for each in FIELDS[self._kind]} for row in rows]
        table = pa.Table.from_pylist(named, schema=schema)
        pq.write_table(table, self._folder / f"part-{self._count:05d}.parquet")
        self._count += 1


def _type(pa: Any, kind: str) -> Any:
    return {
        WORD: pa.string(), WHOLE: pa.int64(), REAL: pa.float64(), MARK: pa.bool_(),
        TIME: pa.timestamp("us", tz="UTC"),
    }[kind]  # fmt: skip


def _arrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise no_library("pyarrow") from None
    return pyarrow, pyarrow.parquet


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _no_room(folder: Path, wrong: OSError) -> ParquetError:
    return ParquetError(
        f"{folder}: cannot be written ({wrong.strerror or wrong}); allowed: a folder in one that "
        "is there, with room, that you may write to. Give another --parquet."
    )
