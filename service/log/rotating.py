"""The log's files: a new one every 5 MB, the oldest of six goes."""

from __future__ import annotations

import contextlib
import logging
import os
from collections.abc import Iterator
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

from .lines import NAME, JsonLines

FOLDER_NAME, FILE_NAME = "logs", "restmark.log"
PART_BYTES, OLDER_PARTS = 5_000_000, 5
_SERVER = "uvicorn.error"


class _Files(RotatingFileHandler):
    """Files that others cannot read; a disk that is full costs lines, never an answer."""

    def _open(self) -> TextIOWrapper:
        return open(
            self.baseFilename, "a", encoding=self.encoding,
            opener=lambda path, flags: os.open(path, flags, 0o600),
        )  # fmt: skip

    def close(self) -> None:
        """Close the file; what does not go in any more is left out."""
        with contextlib.suppress(OSError):
            super().close()

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """Let the line go."""


@contextlib.contextmanager
def to_files(
    data_dir: Path, *, part_bytes: int = PART_BYTES, older_parts: int = OLDER_PARTS
) -> Iterator[None]:
    """Write what is told, and what the server itself complains of, to ``data_dir``/logs."""
    folder = data_dir / FOLDER_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        handler = _Files(
            folder / FILE_NAME, maxBytes=part_bytes, backupCount=older_parts, encoding="utf-8"
        )
    except OSError:
        # the service says itself what is wrong with the folder
        yield
        return
    handler.setFormatter(JsonLines())
    loggers = [logging.getLogger(name) for name in (NAME, _SERVER)]
    for each in loggers:
        each.addHandler(handler)
    try:
        yield
    finally:
        for each in loggers:
            each.removeHandler(handler)
        handler.close()
