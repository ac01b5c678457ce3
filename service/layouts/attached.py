"""A PDF on standard input, its attached file of the given name on standard output.

A file from anybody is opened by a library that many have tried to break: here it is opened in a
process that has little memory and time, and nothing to lose.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Sequence

import pypdfium2

NONE_THERE = 3
"""Exit status where the PDF cannot be opened, or no such file is attached."""
_MEMORY_BYTES, _PROCESSOR_S = 400_000_000, 5
_ATTACHMENTS_MOST = 20
"""Looked at; a sheet has one."""


def attached(data: bytes, name: str) -> bytes | None:
    """The file of that name attached to a PDF; None where none is, or where it is no PDF."""
    try:
        document = pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError:
        return None
    with contextlib.closing(document):
        for place in range(min(document.count_attachments(), _ATTACHMENTS_MOST)):
            each = document.get_attachment(place)
            if each.get_name() == name:
                return bytes(each.get_data())
    return None


def _bounded() -> None:
    """No more memory and time than a sheet needs, where the system knows such limits."""
    try:
        import resource
    except ImportError:
        return
    for kind, most in (
        (resource.RLIMIT_AS, _MEMORY_BYTES),
        (resource.RLIMIT_CPU, _PROCESSOR_S),
        (resource.RLIMIT_CORE, 0),
    ):
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(kind, (most, most))


def main(arguments: Sequence[str]) -> int:
    """``NAME MOST_BYTES``: write the attached file where it is not larger."""
    _bounded()
    name, most = arguments
    try:
        found = attached(sys.stdin.buffer.read(), name)
    except (pypdfium2.PdfiumError, MemoryError):
        return NONE_THERE
    if found is None or len(found) > int(most):
        return NONE_THERE
    sys.stdout.buffer.write(found)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
