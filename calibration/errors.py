"""The project's one error base and the errors of calibration.

Every message says what was given, what is allowed and what to do. Programs branch on ``code`` and
``fields``, never on the message.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


class RestmarkError(ValueError):
    """Base of every refusal; ``code`` is stable and machine-readable.

    ``fields`` holds what the message was made of as plain JSON values, where a program may want
    it.
    """

    code = "error"

    def __init__(
        self, detail: str, *, code: str | None = None, fields: Mapping[str, Any] | None = None
    ) -> None:
        super().__init__(detail)
        self.detail = detail
        self.fields: Mapping[str, Any] = dict(fields or {})
        if code is not None:
            self.code = code


class CalibrationError(RestmarkError):
    """A calibration could not be made; the text names the points and the remedy.

    ``fields["about"]``, where given, says what is at fault: ``landmarks`` (what was found in the
    still), ``points`` (given by hand), ``surface`` (the size as told), ``balls`` (on the bed).
    """

    code = "calibration-refused"


class FileFormatError(RestmarkError):
    """A file is not what it should be; the text starts with file and field path."""

    code = "bad-file"
