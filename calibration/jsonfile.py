"""Files written whole or not at all, and versioned JSON that a person can read."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from .errors import FileFormatError

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
    except OSError as wrong:
        raise _unwritable(target, wrong) from None
    finally:
        # whatever went wrong, a stop by the user too, leaves no half file behind
        Path(name).unlink(missing_ok=True)


def read_json(path: Path | str, *, file_format: str, version: int, remedy: str) -> dict[str, Any]:
    """The JSON object in ``path`` after its format and version have been checked.

    ``remedy`` ends every message: the command that makes such a file anew.
    """
    source = Path(path)
    try:
        content = source.read_bytes()
        refuse_picture(content, path=str(source), allowed=f"a {file_format} file. {remedy}")
        data = json.loads(content.decode("utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as wrong:
        raise FileFormatError(
            f"{source}: cannot be read as JSON ({wrong}); allowed: a {file_format} file. {remedy}"
        ) from None
    check_version(data, file_format=file_format, version=version, path=str(source), remedy=remedy)
    return dict(data)


def refuse_picture(content: bytes, *, path: str, allowed: str) -> None:
    """Refuse a picture where a JSON document belongs; ``allowed`` ends the message.

    Raises:
        FileFormatError: ``content`` is a JPEG or PNG file, or a form that carries one.
    """
    for start, name in ((b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG")):
        if start in content[:_FORM_HEAD_BYTES]:
            raise FileFormatError(
                f"{path}: got a still ({name}); allowed: {allowed}", fields={"picture": name}
            )


def check_version(data: object, *, file_format: str, version: int, path: str, remedy: str) -> None:
    """Refuse what is not an object of ``file_format`` and ``version``."""
    if not isinstance(data, Mapping):
        raise FileFormatError(
            f"{path}: got {type(data).__name__}; allowed: a JSON object of format "
            f"{file_format!r}. {remedy}"
        )
    if data.get("format") != file_format:
        raise FileFormatError(
            f"{path}.format: got {data.get('format')!r}; allowed: {file_format!r}. {remedy}"
        )
    if data.get("version") != version:
        raise FileFormatError(
            f"{path}.version: got {data.get('version')!r}; allowed: {version}. {remedy}"
        )


def number(data: Mapping[str, Any], name: str, path: str) -> float:
    """The finite number ``data[name]``."""
    value = field(data, name, path)
    try:
        if isinstance(value, int | float) and not isinstance(value, bool):
            plain = float(value)
            if math.isfinite(plain):
                return plain
    except OverflowError:
        pass
    raise _wrong(path, name, value, "a finite number")


def text(data: Mapping[str, Any], name: str, path: str) -> str:
    """The string ``data[name]``."""
    value = field(data, name, path)
    if not isinstance(value, str):
        raise _wrong(path, name, value, "text")
    return value


def mapping(data: Mapping[str, Any], name: str, path: str) -> Mapping[str, Any]:
    """The object ``data[name]``."""
    value = field(data, name, path)
    if not isinstance(value, Mapping):
        raise _wrong(path, name, value, "an object")
    return value


def items(data: Mapping[str, Any], name: str, path: str) -> list[Any]:
    """The list ``data[name]``."""
    value = field(data, name, path)
    if not isinstance(value, list):
        raise _wrong(path, name, value, "a list")
    return value


def numbers(
    data: Mapping[str, Any], name: str, path: str, *, count: int | None = None
) -> tuple[float, ...]:
    """The list of finite numbers ``data[name]``, of length ``count`` where given."""
    value = field(data, name, path)
    if not isinstance(value, list) or len(value) != (len(value) if count is None else count):
        wanted = "a list of numbers" if count is None else f"{count} numbers"
        raise _wrong(path, name, value, wanted)
    row = {str(i): item for i, item in enumerate(value)}
    return tuple(number(row, key, f"{path}.{name}") for key in row)


def square_matrix(
    data: Mapping[str, Any], name: str, path: str, *, size: int
) -> tuple[tuple[float, ...], ...]:
    """The ``size`` × ``size`` matrix of finite numbers ``data[name]``."""
    value = items(data, name, path)
    if len(value) != size:
        raise _wrong(path, name, f"{len(value)} rows", f"{size} rows of {size} numbers")
    rows = {str(i): row for i, row in enumerate(value)}
    return tuple(numbers(rows, key, f"{path}.{name}", count=size) for key in rows)


def field(data: Mapping[str, Any], name: str, path: str) -> Any:
    """``data[name]``, or an error that names the field by its path."""
    if name not in data:
        raise FileFormatError(
            f"{path}.{name}: missing; allowed: a file with every field. Make the file again."
        )
    return data[name]


def as_lists(matrix: Sequence[Sequence[float]]) -> list[list[float]]:
    """A matrix as JSON lists."""
    return [[float(value) for value in row] for row in matrix]


def _wrong(path: str, name: str, value: object, allowed: str) -> FileFormatError:
    return FileFormatError(
        f"{path}.{name}: got {value!r}; allowed: {allowed}. Make the file again."
    )


def make_folder(folder: Path) -> None:
    """Make the folder and its parents; a clear error where that cannot be done."""
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
