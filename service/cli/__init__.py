"""The command line. ``app`` holds the commands, ``main`` is the installed entry point."""

from . import calibrating, reading, scoring, showing
from .app import app, main

__all__ = ["app", "calibrating", "main", "reading", "scoring", "showing"]
