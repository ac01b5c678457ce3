"""How a service lets devices in, as it was told when it was started."""

from __future__ import annotations

from dataclasses import dataclass, field

from .sources import SourceRule


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A service that lets paired devices in alone."""

    address: str
    """What another device opens, ``https://192.168.1.20:8765/``."""
    is_tls: bool = True
    fingerprint: str | None = None
    """Of a certificate that no browser knows; None: there is none to compare."""
    sources: SourceRule = field(default_factory=lambda: SourceRule.only(()))
