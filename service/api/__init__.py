"""The HTTP service: /api/v1, live changes, and the page."""

from .app import create_app
from .serve import ServeError, serve
from .session import SessionAttempt, SessionStill, load_session

__all__ = [
    "ServeError",
    "SessionAttempt",
    "SessionStill",
    "create_app",
    "load_session",
    "serve",
]
