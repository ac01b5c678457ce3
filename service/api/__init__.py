"""The HTTP service: /api/v1, live changes, and the page."""

from .app import create_app
from .serve import DEFAULT_HOST, DEFAULT_PORT, ServeError, serve
from .session import SessionAttempt, SessionStill, load_session

__all__ = [
    "DEFAULT_HOST",
    "DEFAULT_PORT",
    "ServeError",
    "SessionAttempt",
    "SessionStill",
    "create_app",
    "load_session",
    "serve",
]
