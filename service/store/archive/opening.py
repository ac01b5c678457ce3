"""An archive's file, opened with mistrust: only names, sizes and packings that ours have."""

from __future__ import annotations

import hashlib
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from os import SEEK_END
from pathlib import Path
from typing import IO
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile

from calibration.errors import RestmarkError

from .carried import CARRIED, Carried, Row
from .errors import ArchiveError, damaged
from .manifest import NAME, KeptLens, Manifest, is_hash, is_number
from .rows import LINE_LIMIT_BYTES, row_of

MOST_TIMES_SMALLER = 300
"""Rows of ours shrink to a tenth or less; a member that grew more on opening is a trap."""
STILL_LIMIT_BYTES = 200_000_000
MANIFEST_LIMIT_BYTES = 50_000_000
LENS_LIMIT_BYTES = 1_000_000
_STILLS, _LENSES, _LENS_ENDING = "stills/", "lenses/", ".json"
_ENCRYPTED = 0x1
_FAULTS = (
    BadZipFile,
    EOFError,
    KeyError,
    NotImplementedError,
    OverflowError,
    RuntimeError,
    ValueError,
    struct.error,
    zlib.error,
)
"""What the zip library raises on a damaged file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """An archive whose outside was found to be in order."""

    file: ZipFile
    manifest: Manifest

    def rows(self, carried: Carried) -> Iterator[Row]:
        """Rows of one table, in the order of their numbers.

        Raises ArchiveError where the member is not what the manifest says; only whoever reads to
        the end knows.
        """
        told = {each.name: each for each in self.manifest.members}.get(carried.member)
        if told is None:
            return
        whole, count = hashlib.sha256(), 0
        with _faults(carried.member), self.file.open(carried.member) as member:
            while line := member.readline(LINE_LIMIT_BYTES + 1):
                count += 1
                where = f"{carried.member} line {count}"
                if len(line) > LINE_LIMIT_BYTES or not line.endswith(b"\n"):
                    raise damaged(where, "a line without its end")
                whole.update(line)
                yield row_of(carried, line, where)
        if (whole.hexdigest(), count) != (told.sha256, told.rows):
            raise damaged(carried.member, "other bytes than the manifest's hash is of")

    def still(self, sha256: str) -> bytes:
        """Bytes of the still of that hash.

        Raises:
            ArchiveError: it has other bytes than its name is the hash of.
        """
        name = _STILLS + sha256
        with _faults(name):
            data = self.file.read(name)
        if hashlib.sha256(data).hexdigest() != sha256:
            raise damaged(name, "other bytes than its name is the hash of")
        return data

    def lens(self, told: KeptLens) -> bytes:
        """Bytes of a lens's file, as they lie there.

        Raises:
            ArchiveError: it cannot be unpacked.
        """
        name = f"{_LENSES}{told.number}{_LENS_ENDING}"
        with _faults(name):
            return self.file.read(name)

    def still_size(self, sha256: str) -> int | None:
        """Bytes of the still of that hash; None where none lies in it."""
        try:
            return self.file.getinfo(_STILLS + sha256).file_size
        except KeyError:
            return None

    def stills(self) -> Iterator[tuple[str, int]]:
        """Hashes of the stills that lie in it, with their sizes in bytes."""
        for entry in self.file.infolist():
            if entry.filename.startswith(_STILLS):
                yield entry.filename.removeprefix(_STILLS), entry.file_size


@contextmanager
def opened(source: Path | IO[bytes]) -> Iterator[Opened]:
    """The archive in a file.

    Raises:
        ArchiveError: it is none, or not a harmless one.
    """
    try:
        file = ZipFile(source)
    except _FAULTS as wrong:
        raise damaged("archive", f"no whole zip ({wrong})") from None
    with file:
        assert file.fp is not None
        _check_entries(file, file.fp.seek(0, SEEK_END))
        with _faults(NAME), file.open(NAME) as page:
            manifest = Manifest.read(page.read(MANIFEST_LIMIT_BYTES + 1))
        _check_told(manifest, file)
        yield Opened(file=file, manifest=manifest)


def _check_entries(file: ZipFile, size_bytes: int) -> None:
    rows = {carried.member for carried in CARRIED}
    packed = 0
    for entry in file.infolist():
        name = entry.filename
        # what was read must be what was written: a name may hold a byte 0 behind which more stands
        is_still = name.startswith(_STILLS) and is_hash(name.removeprefix(_STILLS))
        is_lens = (
            name.startswith(_LENSES)
            and name.endswith(_LENS_ENDING)
            and is_number(name.removeprefix(_LENSES).removesuffix(_LENS_ENDING))
        )
        is_known = name == NAME or name in rows or is_still or is_lens
        if entry.orig_filename != name or not is_known:
            raise damaged("archive", f"the name {entry.orig_filename!r:.80}")
        # the last of a name is the one that is found by it
        if file.getinfo(name) is not entry:
            raise damaged("archive", f"{name} twice")
        if entry.flag_bits & _ENCRYPTED or entry.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
            raise damaged(name, "a packing that no export uses")
        limit = MOST_TIMES_SMALLER * (entry.compress_size + 1000)
        if is_still or is_lens:
            limit = STILL_LIMIT_BYTES if is_still else LENS_LIMIT_BYTES
        if entry.file_size > limit or (name == NAME and entry.file_size > MANIFEST_LIMIT_BYTES):
            raise ArchiveError(
                f"{name}: got {entry.file_size} bytes packed into {entry.compress_size}; allowed: "
                f"at most {limit}. No export makes such an archive: use another copy.",
                code="archive-too-large",
                fields={"where": name},
            )
        packed += entry.compress_size
    if packed > size_bytes:
        raise damaged("archive", "members that lie over one another")
    if NAME not in file.NameToInfo:
        raise damaged("archive", f"a zip without {NAME}")


def _check_told(manifest: Manifest, file: ZipFile) -> None:
    held = file.namelist()
    told = {each.name for each in manifest.members}
    told |= {f"{_LENSES}{each.number}{_LENS_ENDING}" for each in manifest.lenses}
    rows = {name for name in held if not name.startswith(_STILLS) and name != NAME}
    if told != rows:
        raise damaged(NAME, f"a list without or beyond {min(told ^ rows)!r:.80}")
    stills = len(held) - len(rows) - 1
    if manifest.stills != stills:
        raise damaged(f"{NAME} stills", f"{manifest.stills} where {stills} are")


@contextmanager
def _faults(name: str) -> Iterator[None]:
    """Turn what the zip library complains of into a refusal."""
    try:
        yield
    except RestmarkError:
        raise
    except _FAULTS as wrong:
        raise damaged(name, f"bytes that cannot be unpacked ({wrong})") from None
