"""The command line: one module a family of commands, and what they share.

In: words that somebody types, and the files they name. Out: results on standard output, progress
and refusals on standard error, an exit code. ``app`` holds the commands and ``main`` runs them;
the installed command is ``service.__main__``. Nothing is worked out here: rooms below do that.
"""

from . import (
    boards,
    calibrating,
    laying,
    planning,
    proving,
    reading,
    scoring,
    session,
    showing,
    teaching,
    weeks,
)
from .app import app, main
from .served import copying, devices, doctor, moving, own_stills, rereading

__all__ = [
    "app",
    "boards",
    "calibrating",
    "copying",
    "devices",
    "doctor",
    "laying",
    "main",
    "moving",
    "own_stills",
    "planning",
    "proving",
    "reading",
    "rereading",
    "scoring",
    "session",
    "showing",
    "teaching",
    "weeks",
]
