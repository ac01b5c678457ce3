"""The page ``/tables``, with its part that is fetched again."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from service.store import Reader

from ..frame import Shown, Site
from .view import tables_view


def install(site: Site) -> None:
    """Add the page to the site."""

    def tables(reader: Reader, shown: Shown) -> dict[str, Any]:
        return {"cards": tables_view(reader, site.desk, shown)}

    @site.app.get("/tables", include_in_schema=False)
    async def tables_page(request: Request) -> HTMLResponse:
        return await site.page("tables/page.html", request, tables)

    @site.app.get("/tables/parts", include_in_schema=False)
    async def tables_parts(request: Request) -> HTMLResponse:
        return await site.part("tables/parts.html", request, tables)
