"""Text files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from calibration.errors import FileFormatError


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text to ``path``: a temporary file beside it, then a replace."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as wrong:
        raise _unwritable(path, wrong) from None
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, path)
    except OSError as wrong:
        raise _unwritable(path, wrong) from None
    finally:
        # whatever went wrong, a stop by the user too, leaves no half file behind
        Path(name).unlink(missing_ok=True)


def make_folder(folder: Path) -> None:
    """Make the folder and its parents; a clear error where that cannot be done."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise FileFormatError(
            f"{folder}: cannot be made ({wrong.strerror or wrong}); allowed: a folder in a place "
            "that may be written. Give another --out."
        ) from None


def _unwritable(path: Path, wrong: OSError) -> FileFormatError:
    return FileFormatError(
        f"{path}: cannot be written ({wrong.strerror or wrong}); allowed: a file in a folder that "
        "exists and may be written. Give another place."
    )
