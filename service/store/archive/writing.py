"""A store's rows and stills as the bytes of one zip, made while they are sent."""

from __future__ import annotations

import hashlib
import io
import itertools
import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from importlib.metadata import version
from typing import IO
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

import sqlalchemy as sa

from service import clock

from .. import tables as t
from ..files import StillFiles
from ..records import StoreError
from ..writing.moments import NOT_BEFORE, newest_kept
from .carried import CARRIED, Carried
from .manifest import LENSES_MOST, NAME, KeptLens, Manifest, Member
from .rows import line_of

_ROWS_AT_ONCE = 200
_CHUNK_BYTES = 1 << 16


class _Sink(io.RawIOBase):
    """Takes what the zip writes and gives it on; nobody can go back in it."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._size_bytes = 0

    def writable(self) -> bool:
        """It is written to and nothing else."""
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Keep the bytes until they are taken."""
        self._parts.append(bytes(data))
        self._size_bytes += len(data)
        return len(data)

    def taken(self, *, at_least_bytes: int = 1) -> Iterator[bytes]:
        """What was written since, where it is enough to be sent."""
        if self._size_bytes >= at_least_bytes:
            whole = b"".join(self._parts)
            self._parts, self._size_bytes = [], 0
            yield whole


def archive_bytes(
    connection: sa.Connection,
    files: StillFiles,
    *,
    step: str,
    lenses: Iterable[tuple[KeptLens, bytes]] = (),
) -> Iterator[bytes]:
    """The archive of all that ``connection`` sees, part by part; ``step`` is the database's.

    Holds one batch of rows or one still at a time. The manifest comes last, when all is known.
    """
    # never before what it holds, and no archive of this kind knows a moment before 1980
    now = max(clock.now(), newest_kept(connection) or NOT_BEFORE, NOT_BEFORE)
    sink = _Sink()
    with ZipFile(sink, "w", ZIP_DEFLATED) as archive:
        members = []
        for carried in CARRIED:
            with archive.open(_entry(carried.member, now, ZIP_DEFLATED), "w") as file:
                told = _Told(file)
                for line in _lines(connection, carried):
                    told.write(line)
                    yield from sink.taken(at_least_bytes=_CHUNK_BYTES)
            members.append(told.member(carried.member))
        stills, missing = 0, []
        for sha256 in _hashes(connection):
            try:
                data = files.read(sha256)
            except StoreError:
                missing.append(sha256)
                continue
            # pictures are small already
            archive.writestr(_entry(f"stills/{sha256}", now, ZIP_STORED), data)
            stills += 1
            yield from sink.taken(at_least_bytes=_CHUNK_BYTES)
        told_lenses = []
        for lens, content in itertools.islice(lenses, LENSES_MOST):
            archive.writestr(_entry(f"lenses/{lens.number}.json", now, ZIP_DEFLATED), content)
            told_lenses.append(lens)
        manifest = Manifest(
            step=step,
            made_at=now,
            software=version("restmark"),
            members=tuple(members),
            stills=stills,
            missing_stills=tuple(missing),
            lenses=tuple(told_lenses),
        )
        page = json.dumps(manifest.to_dict(), indent=1).encode()
        archive.writestr(_entry(NAME, now, ZIP_DEFLATED), page)
    yield from sink.taken()


class _Told:
    """A member that is being written, and what the manifest says of it."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._hash = hashlib.sha256()
        self._rows = self._size_bytes = 0

    def write(self, line: bytes) -> None:
        """One more row."""
        self._file.write(line)
        self._hash.update(line)
        self._rows += 1
        self._size_bytes += len(line)

    def member(self, name: str) -> Member:
        """What was written."""
        return Member(
            name=name,
            rows=self._rows,
            size_bytes=self._size_bytes,
            sha256=self._hash.hexdigest(),
        )


def _lines(connection: sa.Connection, carried: Carried) -> Iterator[bytes]:
    query = sa.select(*carried.columns).order_by(*carried.table.primary_key.columns)
    if carried.only is not None:
        query = query.where(carried.only)
    found = connection.execute(query.execution_options(yield_per=_ROWS_AT_ONCE))
    for row in found:
        yield line_of(carried, row._asdict())


def _hashes(connection: sa.Connection) -> Iterator[str]:
    query = sa.select(t.stills.c.sha256).distinct().order_by(t.stills.c.sha256)
    yield from connection.execute(query.execution_options(yield_per=_ROWS_AT_ONCE)).scalars()


def _entry(name: str, now: datetime, packing: int) -> ZipInfo:
    entry = ZipInfo(name, now.timetuple()[:6])
    entry.compress_type = packing
    return entry
