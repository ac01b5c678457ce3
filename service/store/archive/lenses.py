"""The lenses of a data folder, which are files of their own beside its rows."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from calibration import strict
from calibration.errors import RestmarkError
from calibration.jsonfile import write_bytes

from ..files import sync_folder
from ..private import FILE_MODE, FOLDER_MODE
from .errors import MADE_BY, ArchiveError, damaged
from .manifest import LENSES_MOST, KeptLens
from .opening import LENS_LIMIT_BYTES, Opened
from .taking import Checks

FOLDER = "lenses"
"""Of the data folder; each file is named by the start of its own hash."""
NUMBER = re.compile(r"[0-9a-f]{12}")


def lens_number(content: bytes) -> str:
    """What a lens of that content is named by."""
    return hashlib.sha256(content.rstrip(b"\n")).hexdigest()[:12]


def lenses_of(data_dir: Path) -> Iterator[tuple[KeptLens, bytes]]:
    """The folder's lenses by their numbers; a file that is none, or damaged, is left out."""
    folder = data_dir / FOLDER
    for path in sorted(folder.glob("*.json") if folder.is_dir() else ()):
        try:
            kept_at, content = path.stat().st_mtime, path.read_bytes()
        except OSError:
            continue
        if path.stem == lens_number(content) and len(content) <= LENS_LIMIT_BYTES:
            yield (
                KeptLens(
                    number=path.stem,
                    kept_at=datetime.fromtimestamp(kept_at, UTC),
                    size_bytes=len(content),
                    sha256=hashlib.sha256(content).hexdigest(),
                ),
                content,
            )


def wrong_lens(told: KeptLens, content: bytes, checks: Checks) -> str | None:
    """What is wrong with a lens's file that may come from anybody; None: it is one of ours."""
    if (len(content), hashlib.sha256(content).hexdigest()) != (told.size_bytes, told.sha256):
        return "other bytes than the manifest's hash is of"
    if lens_number(content) != told.number:
        return "other bytes than its name is the hash of"
    try:
        document = strict.parse(
            content, place=FOLDER, what=MADE_BY, remedy="Export it again.", error=ArchiveError
        )
        checks[FOLDER](document)
    except RestmarkError as wrong:
        return f"a lens that is refused ({wrong.detail})"
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as wrong:
        return f"a lens that cannot be understood ({type(wrong).__name__}: {wrong})"
    return None


def look_over_lenses(archive: Opened, checks: Checks, *, here: Collection[str]) -> None:
    """Refuse an archive with a lens that is none, or with more than a folder keeps.

    ``here`` are the numbers of those that the folder has already.

    Raises:
        ArchiveError: it is refused.
    """
    told = archive.manifest.lenses
    for each in told:
        content = archive.lens(each)
        if (wrong := wrong_lens(each, content, checks)) is not None:
            raise damaged(f"{FOLDER}/{each.number}.json", wrong)
    together = {each.number for each in told} | set(here)
    if len(together) > LENSES_MOST:
        raise ArchiveError(
            f"{FOLDER}: got {len(together)} with those that are here; allowed: {LENSES_MOST}. "
            f"Remove those of cameras that are gone from the folder `{FOLDER}` of the data folder.",
            fields={"where": FOLDER},
        )


@contextmanager
def lenses_there(archive: Opened, data_dir: Path) -> Iterator[int]:
    """The archive's lenses in the folder; gone again where what follows fails. How many are new."""
    new: list[Path] = []
    try:
        for each in archive.manifest.lenses:
            path = place_of(each.number, data_dir)
            if not path.exists():
                new.append(path)
                put_lens(each, archive.lens(each), data_dir)
        yield len(new)
    except BaseException:
        for path in new:
            path.unlink(missing_ok=True)
        raise


def place_of(number: str, data_dir: Path) -> Path:
    """Where the lens of that number lies."""
    return data_dir / FOLDER / f"{number}.json"


def put_lens(told: KeptLens, content: bytes, data_dir: Path) -> None:
    """Keep a lens's file with the time of the one that it is a copy of."""
    make_folder(data_dir)
    path = place_of(told.number, data_dir)
    write_bytes(path, content)
    path.chmod(FILE_MODE)
    # the newest is offered first
    os.utime(path, (told.kept_at.timestamp(),) * 2)


def make_folder(data_dir: Path) -> None:
    """The folder of the lenses, whose name is on disk too."""
    folder = data_dir / FOLDER
    if not folder.is_dir():
        folder.mkdir(exist_ok=True, mode=FOLDER_MODE)
        sync_folder(data_dir)
