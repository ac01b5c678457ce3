"""The lenses of a data folder in its copy, and back."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from pathlib import Path

from ..archive import Checks
from ..archive.lenses import FOLDER, lenses_of, place_of, put_lens, wrong_lens
from ..archive.manifest import LENSES_MOST, KeptLens
from .manifest import CopyError, not_whole


def copy_lenses(data_dir: Path, folder: Path) -> tuple[KeptLens, ...]:
    """Copy those of ``data_dir`` into ``folder``; what was copied."""
    copied = []
    for told, content in islice(lenses_of(data_dir), LENSES_MOST):
        if not _lies(told, content, folder):
            put_lens(told, content, folder)
        copied.append(told)
    return tuple(copied)


def drop_other_lenses(copied: Sequence[KeptLens], folder: Path) -> None:
    """Take those out of a copy that it no longer tells of."""
    numbers = {each.number for each in copied}
    for path in (folder / FOLDER).glob("*.json"):
        if path.stem not in numbers:
            path.unlink(missing_ok=True)


def lenses_in(folder: Path, told: Sequence[KeptLens], checks: Checks) -> dict[KeptLens, bytes]:
    """The lenses of a copy, looked over.

    Raises:
        CopyError: one is not what was written, or no lens.
    """
    found = {}
    for each in told:
        path = place_of(each.number, folder)
        try:
            content = path.read_bytes()
        except OSError as wrong:
            raise not_whole(path, str(wrong)) from None
        wrong_there = wrong_lens(each, content, checks)
        if wrong_there is not None:
            raise not_whole(path, wrong_there)
        found[each] = content
    return found


def put_back(lenses: dict[KeptLens, bytes], data_dir: Path) -> None:
    """Have the lenses of a copy in ``data_dir``, beside those that are there.

    Raises:
        CopyError: there would be too many; nothing was put there.
    """
    new = {each: content for each, content in lenses.items() if not _lies(each, content, data_dir)}
    there = {path.stem for path in (data_dir / FOLDER).glob("*.json")}
    count = len(there | {each.number for each in new})
    if count > LENSES_MOST:
        raise CopyError(
            f"{data_dir / FOLDER}: got {count} lenses with those of the copy; allowed: "
            f"{LENSES_MOST}. Remove those of cameras that are gone."
        )
    for each, content in new.items():
        put_lens(each, content, data_dir)


def _lies(told: KeptLens, content: bytes, folder: Path) -> bool:
    try:
        return place_of(told.number, folder).read_bytes() == content
    except OSError:
        return False
