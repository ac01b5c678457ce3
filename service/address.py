"""Where the service listens unless told otherwise: one place for service and command line."""

from __future__ import annotations

DEFAULT_HOST = "127.0.0.1"
DEFAULT_PORT = 8765
