"""The page where a device is paired, and the one that lists those that are.

In: the door and what was told at the start. Out: ``/pair``, which stands alone since nobody who
opens it is let in yet, and ``/devices`` for owners. A service for its own machine alone has
neither.
"""

from __future__ import annotations

from . import devices, pair

from ..frame import Site  # isort: skip


def install(site: Site) -> None:
    """Add both pages to the site, where devices are paired."""
    if site.app.state.entry is None:
        return
    pair.install(site)
    devices.install(site)
