"""The project's one error base and the errors of calibration.

Every message says what was given, what is allowed and what to do.
"""


class RestmarkError(ValueError):
    """Base of every refusal; ``code`` is stable and machine-readable."""

    code = "error"

    def __init__(self, detail: str, *, code: str | None = None) -> None:
        super().__init__(detail)
        self.detail = detail
        if code is not None:
            self.code = code


class CalibrationError(RestmarkError):
    """A calibration could not be made; the text names the points and the remedy."""

    code = "calibration-refused"


class FileFormatError(RestmarkError):
    """A file is not what it should be; the text starts with file and field path."""

    code = "bad-file"
