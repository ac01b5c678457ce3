"""The documents as pages: the guides for players and programmers, and the addresses of the API.

In: Markdown of ``service.docs`` and the service's own OpenAPI document. Out: pages at ``/docs``.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from fastapi import HTTPException, Request
from fastapi.responses import FileResponse, HTMLResponse

from service.docs import pages as documents

from ..frame import Site


def install(site: Site) -> None:
    """Add the documents to the site."""
    app = site.app

    @app.get("/docs", include_in_schema=False)
    async def docs(request: Request) -> HTMLResponse:
        context: dict[str, Any] = {
            "document": app.openapi(),
            "schema_path": app.openapi_url,
            "pages": documents.pages(),
        }
        return await site.page("documents/all.html", request, lambda *_: context)

    @app.get(f"/docs/{documents.DRAWING}", include_in_schema=False)
    def drawing() -> FileResponse:
        return FileResponse(str(files("service.docs") / documents.DRAWING))

    @app.get("/docs/{name}", include_in_schema=False)
    async def document(name: str, request: Request) -> HTMLResponse:
        page = documents.page(name)
        if page is None:
            raise HTTPException(404)
        return await site.page("documents/one.html", request, lambda *_: {"page": page})
