"""What a paired device may do: look on, practise, or everything.

What is not named here is the owner's: a route that is added and forgotten lets nobody in too far.
Addresses that only show something are for everybody who is paired, but for those named.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType


class Role(StrEnum):
    """The roles, the least first."""

    VIEWER = "viewer"
    TABLE = "table"
    OWNER = "owner"

    def may(self, least: Role) -> bool:
        """Whether it may do what ``least`` may."""
        order = tuple(Role)
        return order.index(self) >= order.index(least)


ROLE_WORDS: Mapping[Role, str] = MappingProxyType(
    {
        Role.VIEWER: "may look on: table, verdicts, attempts, progress; it changes nothing",
        Role.TABLE: "may practise: send stills, plan shots, correct, set up with its own camera, "
        "keep layouts",
        Role.OWNER: "may do everything: also choose cameras and folders of the computer, move "
        "everything in and out, and say which devices are let in",
    }
)
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_OWNERS_TO_SEE = (
    "/api/v1/devices",
    "/devices",
    "/api/v1/export",
    "/api/v1/backup",
    "/api/v1/backups",
    "/api/v1/doctor",
    "/api/v1/logs",
    "/api/v1/setup/picture",
)
"""What even to look at is the owner's."""
_OWNERS = ("/api/v1/setup/stills/host", *_OWNERS_TO_SEE)
_TABLES = (
    "/api/v1/attempts",
    "/api/v1/calibration",
    "/api/v1/guide",
    "/api/v1/intent",
    "/api/v1/layouts",
    "/api/v1/plans",
    "/api/v1/player",
    "/api/v1/players",
    "/api/v1/practices",
    "/api/v1/readings",
    "/api/v1/setup",
    "/api/v1/stills",
    "/api/v1/tables",
    "/api/v1/undo",
    "/api/v1/zone",
    "/guide",
)
"""What a device at the table may change."""


def least_role(method: str, path: str) -> Role:
    """The least role that may ask ``path`` by ``method``."""
    if method in _SAFE:
        return Role.OWNER if _is_under(path, _OWNERS_TO_SEE) else Role.VIEWER
    if _is_under(path, _OWNERS) or not _is_under(path, _TABLES):
        return Role.OWNER
    return Role.TABLE


def _is_under(path: str, places: tuple[str, ...]) -> bool:
    return any(path == place or path.startswith((f"{place}/", f"{place}.")) for place in places)
