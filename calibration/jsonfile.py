"""Files written whole or not at all, and versioned JSON that a person can read."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from .errors import FileFormatError, RestmarkError
from .strict import parse, shown

_FORM_HEAD_BYTES = 2048
"""So far into a form its first file begins; neither start occurs in UTF-8 text."""


def write_json(path: Path | str, data: Mapping[str, Any]) -> None:
    """Write ``data`` to ``path`` atomically: a temporary file beside it, then a replace.

    Raises FileFormatError where the place cannot be written; the old file then stays.
    """
    write_text(path, json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


def write_text(path: Path | str, content: str) -> None:
    """Write UTF-8 text to ``path`` in one step; errors as in ``write_json``."""
    write_bytes(path, content.encode("utf-8"))


def write_bytes(path: Path | str, content: bytes) -> None:
    """Write ``content`` to ``path`` in one step; errors as in ``write_json``."""
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(
            dir=target.parent, prefix=f".{target.name}.", suffix=".part"
        )
    except OSError as wrong:
        raise _unwritable(target, wrong) from None
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, target)
        _sync_name(target)
    except OSError as wrong:
        raise _unwritable(target, wrong) from None
    finally:
        # whatever went wrong, a stop by the user too, leaves no half file behind
        Path(name).unlink(missing_ok=True)


def _sync_name(target: Path) -> None:
    """A file's name is on disk only once its folder is; not every system can do that."""
    with contextlib.suppress(OSError):
        handle = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def read_value(
    path: Path | str, *, what: str, remedy: str, error: type[RestmarkError] = FileFormatError
) -> Any:
    """The JSON value in ``path``; ``what`` says what is allowed there, ``remedy`` what to do.

    Raises:
        error: the file cannot be read, is a picture, or holds no JSON value.
    """
    try:
        content = Path(path).read_bytes()
    except OSError as wrong:
        raise error(
            f"{path}: cannot be read as JSON ({wrong}); allowed: {what}. {remedy}"
        ) from None
    refuse_picture(content, path=str(path), allowed=f"{what}. {remedy}", error=error)
    return parse(content, place=str(path), what=what, remedy=remedy, error=error)


def read_json(path: Path | str, *, file_format: str, version: int, remedy: str) -> dict[str, Any]:
    """The JSON object in ``path`` after its format and version have been checked.

    ``remedy`` ends every message: the command that makes such a file anew.
    """
    data = read_value(path, what=f"a {file_format} file", remedy=remedy)
    check_version(data, file_format=file_format, version=version, path=str(path), remedy=remedy)
    return dict(data)


def refuse_picture(
    content: bytes, *, path: str, allowed: str, error: type[RestmarkError] = FileFormatError
) -> None:
    """Refuse a picture where a JSON document belongs; ``allowed`` ends the message.

    Raises:
        error: ``content`` is a JPEG or PNG file, or a form that carries one.
    """
    for start, name in ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG")):
        if start in content[:_FORM_HEAD_BYTES]:
            raise error(
                f"{path}: got a still ({name}); allowed: {allowed}", fields={"picture": name}
            )


def check_version(data: object, *, file_format: str, version: int, path: str, remedy: str) -> None:
    """Refuse what is not an object of ``file_format`` and ``version``.

    Raises:
        FileFormatError: it is another format, another version, or no object.
    """
    if not isinstance(data, Mapping):
        raise FileFormatError(
            f"{path}: got {type(data).__name__}; allowed: a JSON object of format "
            f"{file_format!r}. {remedy}"
        )
    if data.get("format") != file_format:
        raise FileFormatError(
            f"{path}.format: got {shown(data.get('format'))}; allowed: {file_format!r}. {remedy}"
        )
    given = data.get("version")
    if given != version or isinstance(given, bool):
        raise FileFormatError(f"{path}.version: got {shown(given)}; allowed: {version}. {remedy}")


def as_lists(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """A matrix as JSON lists."""
    return [[float(value) for value in row] for row in matrix]


def make_folder(folder: Path) -> None:
    """Make the folder and its parents; a clear error where that cannot be done.

    Raises:
        FileFormatError: it cannot be made there.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise FileFormatError(
            f"{folder}: cannot be made ({wrong.strerror or wrong}); allowed: a folder in a place "
            "that may be written. Give another."
        ) from None


def _unwritable(target: Path, wrong: OSError) -> FileFormatError:
    return FileFormatError(
        f"{target}: cannot be written ({wrong.strerror or wrong}); allowed: a file in a folder "
        "that exists and may be written. Give another place."
    )


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current
