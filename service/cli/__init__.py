"""The command line: one module a family of commands, and what they share.

In: words that somebody types, and the files they name. Out: results on standard output, progress
and refusals on standard error, an exit code. ``app`` holds the commands and ``main`` runs them;
the installed command is ``service.__main__``. Nothing is worked out here: rooms below do that.
"""

from . import boards, calibrating, planning, reading, scoring, session, showing, teaching, weeks
from .app import app, main

__all__ = [
    "app",
    "boards",
    "calibrating",
    "main",
    "planning",
    "reading",
    "scoring",
    "session",
    "showing",
    "teaching",
    "weeks",
]
