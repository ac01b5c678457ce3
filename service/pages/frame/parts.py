"""The frame's own part that is fetched again: the strip of states."""

from __future__ import annotations

from fastapi import Request
from fastapi.responses import HTMLResponse

from .site import Site
from .strip import beside_the_store


def install(site: Site) -> None:
    """Add the strip's address to the site."""

    @site.app.get("/strip", include_in_schema=False)
    async def strip(request: Request) -> HTMLResponse:
        return await site.part(
            "frame/strip.html",
            request,
            lambda reader, shown: {"strip": site.strip(reader, shown)},
            given=beside_the_store(site.desk),
        )
