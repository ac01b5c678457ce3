"""The navigation: what pages there are, in the order in which a player needs them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class NavEntry:
    """One page of the navigation; it is marked on every address that begins with ``under``."""

    path: str
    words: str
    under: tuple[str, ...]
    of_several: bool = False
    """Only where there are several tables."""

    def is_here(self, path: str) -> bool:
        """Whether the page at ``path`` belongs to this entry."""
        return path == self.path or any(
            path == place or path.startswith(f"{place}/") for place in self.under
        )


NAVIGATION = (
    NavEntry(path="/", words="Practice", under=()),
    NavEntry(path="/setup", words="Set-up", under=("/setup",)),
    NavEntry(path="/layouts", words="Layouts", under=("/layouts", "/guide", "/lessons", "/plans")),
    NavEntry(path="/progress", words="Progress", under=("/progress", "/attempts")),
    NavEntry(path="/tables", words="Tables", under=("/tables",), of_several=True),
    NavEntry(path="/docs", words="Documents", under=("/docs",)),
)


def entries(installed: Collection[str], *, several: bool = False) -> tuple[NavEntry, ...]:
    """Those entries whose page this service has: nothing leads nowhere. ``several``: tables."""
    return tuple(
        entry
        for entry in NAVIGATION
        if entry.path in installed and (several or not entry.of_several)
    )
