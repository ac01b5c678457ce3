"""The command line. ``app`` holds the commands, ``main`` is the installed entry point."""

from . import boards, calibrating, planning, reading, scoring, showing, teaching, weeks
from .app import app, main

__all__ = [
    "app",
    "boards",
    "calibrating",
    "main",
    "planning",
    "reading",
    "scoring",
    "showing",
    "teaching",
    "weeks",
]
