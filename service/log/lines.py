"""One event as one line of JSON."""

from __future__ import annotations

import json
import logging
import re
import traceback
from datetime import UTC, datetime
from typing import Any

from .request import asked

NAME = "restmark"
_MOST_LETTERS = 8000
_IN_ADDRESS = re.compile(r"(\w+://)[^\s/@'\"]+@")
_LONG_RUN = re.compile(r"\S{400,}")
"""No word is that long: a picture's or a key's bytes, written out."""
_LOGGER = logging.getLogger(NAME)
_LOGGER.addHandler(logging.NullHandler())
_LOGGER.propagate = False
_LOGGER.setLevel(logging.INFO)


def event(name: str, *, level: int = logging.INFO, **fields: Any) -> None:
    """Tell that something happened; fields are plain values."""
    _LOGGER.log(level, name, extra={"fields": fields})


def failure(name: str, fault: BaseException, **fields: Any) -> None:
    """Tell of a fault of the program, with where it was."""
    _LOGGER.error(name, extra={"fields": fields}, exc_info=fault)


class JsonLines(logging.Formatter):
    """Ours and the server's own records as JSON, a line each, without secrets."""

    def format(self, record: logging.LogRecord) -> str:
        """One line."""
        now = asked()
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        if now is not None:
            line["request_id"] = now.id
        line |= getattr(record, "fields", {})
        if record.exc_info and record.exc_info[1] is not None:
            # the end says where and what
            line["traceback"] = "".join(traceback.format_exception(record.exc_info[1]))[
                -_MOST_LETTERS:
            ]
        clean = {key: _clean(value) for key, value in line.items()}
        return json.dumps(clean, ensure_ascii=False, default=lambda value: _clean(str(value)))


def _clean(value: Any) -> Any:
    """Text without names and passwords in addresses, and without bytes written out."""
    if not isinstance(value, str):
        return value
    shown = _IN_ADDRESS.sub(r"\1…@", value)
    return _LONG_RUN.sub("(left out)", shown)[:_MOST_LETTERS]
