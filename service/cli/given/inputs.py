"""What a command is given: stills, layouts, folders of them; as bytes, pictures or layouts."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import FileFormatError, RestmarkError
from calibration.strict import parse
from vision.layout import Layout

STILL_SUFFIXES = (".jpg", ".jpeg", ".png", ".heic", ".heif")
LAYOUT_SUFFIXES = (".json", ".jsonl", ".ndjson")


class InputError(RestmarkError):
    """Something given on the command line cannot be opened."""

    code = "bad-input"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One still or layout by name: its bytes, or its layout, or why it has none."""

    name: str
    still: bytes | None = None
    layout: Layout | None = None
    refusal: RestmarkError | None = None


def read_bytes(path: Path) -> bytes:
    """A file's bytes.

    Raises:
        InputError: it is a folder, missing or closed.
    """
    if path.is_dir():
        raise InputError(
            f"{path}: is a folder; allowed: a file. Name the file inside it.", code="bad-still"
        )
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise InputError(
            f"{path}: no such file; allowed: a file that exists. Check the name.",
            code="missing-file",
        ) from None
    except OSError as wrong:
        raise InputError(
            f"{path}: cannot be opened ({wrong.strerror or wrong}); allowed: a file that may be "
            "read. Check its permissions.",
            code="missing-file",
        ) from None


def read_picture(path: Path) -> NDArray[np.uint8]:
    """A still as (H, W, 3) BGR."""
    from vision.still import decode_still

    return decode_still(read_bytes(path), name=str(path))


def is_layout_file(path: Path) -> bool:
    """Whether the name says JSON; everything else is taken for a still."""
    return path.suffix.lower() in LAYOUT_SUFFIXES


def natural_key(path: Path) -> list[tuple[int, int, str]]:
    """Sort key that puts shot-2 before shot-10, and -before before -after of one name."""
    stem = path.stem.lower()
    turn = 0
    for rank, ending in ((1, "before"), (2, "after")):
        if stem.endswith(ending):
            stem, turn = stem[: -len(ending)], rank
    parts = re.findall(r"\d+|\D+", stem)
    key = [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts]
    return [*key, (-1, turn, path.suffix.lower())]


def entry_of(path: Path, *, name: str | None = None) -> Entry:
    """The one still or layout in a file.

    Raises:
        InputError: the file cannot be read.
        FileFormatError: it holds no layout or several.
        RestmarkError: the layout in it is refused.
    """
    if not is_layout_file(path):
        return Entry(name=name or str(path), still=read_bytes(path))
    entries = list(layout_entries(path))
    if len(entries) != 1:
        raise FileFormatError(
            f"{path}: got {len(entries)} layouts; allowed: one object as `restmark read --json` "
            "prints it. Put each in a file of its own."
        )
    if entries[0].refusal is not None:
        raise entries[0].refusal
    return entries[0]


def folder_entries(folder: Path, *, leave_out: Path | None = None) -> list[Entry]:
    """Stills of a folder in natural order of their names; its layouts where it has no stills.

    A file of layouts (one object a line) is taken for a folder of them.

    Raises:
        InputError: it is no folder, or holds nothing of the kind.
    """
    if folder.is_file() and is_layout_file(folder):
        return list(layout_entries(folder))
    if not folder.is_dir():
        raise InputError(
            f"{folder}: is no folder; allowed: a folder of stills ({', '.join(STILL_SUFFIXES)}) "
            "or of layouts (.json), or one file of layouts. Save the stills in a folder and give "
            "that."
        )
    files = sorted((path for path in folder.iterdir() if path.is_file()), key=natural_key)
    stills = [path for path in files if path.suffix.lower() in STILL_SUFFIXES]
    if stills:
        return [Entry(name=path.name, still=read_bytes(path)) for path in stills]
    entries: list[Entry] = []
    for path in files:
        same = leave_out is not None and leave_out.exists() and path.samefile(leave_out)
        if is_layout_file(path) and not same:
            entries += layout_entries(path, only_layouts=True)
    if not entries:
        raise InputError(
            f"{folder}: holds no stills ({', '.join(STILL_SUFFIXES)}) and no layouts (.json); "
            "allowed: a folder with the stills of a session. Give another folder."
        )
    return entries


def layout_entries(path: Path, *, only_layouts: bool = False) -> Iterator[Entry]:
    """Layouts and refusals in a JSON file: one object, or one a line.

    With ``only_layouts`` other JSON objects (a plan, a truth sidecar) yield nothing.
    """
    for place, data in _objects(path):
        if isinstance(data, Mapping) and isinstance(data.get("error"), Mapping):
            error = data["error"]
            yield Entry(
                name=str(data.get("still") or place),
                refusal=InputError(str(error.get("detail", "")), code=str(error.get("code", ""))),
            )
            continue
        other = isinstance(data, Mapping) and "balls" not in data and "surface_mm" not in data
        if only_layouts and other:
            continue
        layout = Layout.from_dict(data, path=place)
        yield Entry(name=layout.still or path.name, layout=layout)


def read_text(path: Path) -> str:
    """A text file in UTF-8.

    Raises:
        InputError: the file cannot be read.
        FileFormatError: it is no text.
    """
    try:
        return read_bytes(path).decode("utf-8")
    except UnicodeDecodeError:
        raise FileFormatError(
            f"{path}: is no text in UTF-8; allowed: JSON. Check that it is the right file."
        ) from None


def _objects(path: Path) -> Iterator[tuple[str, Any]]:
    text = read_text(path)
    lines = [line for line in enumerate(text.splitlines(), start=1) if line[1].strip()]
    try:
        yield str(path), _parse(text, str(path), "as `restmark read --json` prints it")
        return
    except FileFormatError:
        if len(lines) < 2:
            raise
    for number, line in lines:
        place = f"{path}:{number}"
        yield place, _parse(line, place, "one object a line as `restmark read --json` prints it")


def _parse(text: str, place: str, what: str) -> Any:
    return parse(text, place=place, what=what, remedy="Correct the file.")


def moment(option: str, given: str | None) -> datetime | None:
    """A day or a day with a time, in this machine's zone unless it names one."""
    if given is None:
        return None
    try:
        return datetime.fromisoformat(given).astimezone()
    except (ValueError, OSError, OverflowError):
        raise InputError(
            f"{option}: got {given!r}; allowed: a day or a day with a time, like 2026-11-24 or "
            "2026-11-24T19:30. Correct it."
        ) from None
