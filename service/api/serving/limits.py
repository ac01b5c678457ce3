"""How long a connection may take over what, and how many there may be."""

from __future__ import annotations

import sys
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of one server's connections."""

    header_s: float = 10.0
    """From a request's first byte, or from connecting, until its head is whole."""
    idle_s: float = 15.0
    """Between an answer and the next request on the same connection."""
    stall_s: float = 10.0
    """Longest pause inside a body."""
    floor_bytes_s: float = 16_000.0
    """Slowest upload: a body has ``grace_s`` and a second for every so many bytes that came."""
    grace_s: float = 8.0
    rest_s: float = 30.0
    """What is left of a body after its answer is thrown away for so long, then the line is cut."""
    unread_s: float = 30.0
    """An answer that nobody takes in for so long, 64 kB being under way, is given up."""
    closing_s: float = 5.0
    """What is left to send when a connection is closed has so long."""
    handshake_s: float = 10.0
    """A TLS handshake."""
    connections: int = 400
    """At once; beyond them those that have waited longest for a request are closed."""
    per_address: int = 100
    """At once from one address, likewise."""
    burst: int = 400
    """So many more may come at once before they are told to come again."""


LEAST_FILES = 4096


def many_files() -> None:
    """Let this process hold more open files, where the system allows: connections are files."""
    if sys.platform == "win32":
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = LEAST_FILES if hard == resource.RLIM_INFINITY else min(LEAST_FILES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
