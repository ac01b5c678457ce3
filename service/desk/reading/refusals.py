"""What is said where a still could not be read for the sake of its reader process."""

from __future__ import annotations

from calibration.errors import RestmarkError


class ReadingError(RestmarkError):
    """A still that no reader process gave a layout for."""


def reader_died(name: str) -> ReadingError:
    """What is said of a still over which reader processes ended."""
    return ReadingError(
        f"{name or 'still'}: the process that read it ended, and the next one too; allowed: a "
        "picture that can be read. It is not tried again: take another still, and report this one "
        "with the service's log.",
        code="reader-died",
    )


def reading_hung(name: str, limit_s: float) -> ReadingError:
    """What is said of a still whose reading came to no end."""
    return ReadingError(
        f"{name or 'still'}: not read within {limit_s:g} s, and given up; allowed: a picture that "
        "is read in less. It is not tried again: take another still, and report this one if the "
        "machine was not busy otherwise.",
        code="reading-hung",
    )


def no_reader(wait_s: float) -> ReadingError:
    """What is said where no reader process was free for long."""
    return ReadingError(
        f"readers: none was free within {wait_s:g} s; allowed: as many stills as they can read. "
        "Send it again in a moment; the service's log says where a reader does not start.",
        code="no-reader",
        fields={"wait_s": 5},
    )
